"""A small printing press: words and engraved music on sheets of paper, bound into a PDF.

`setting` makes lines of words, `sheets` puts what is printed on pages, `binding` writes the PDF.
Lengths are points (1/72 inch), places are counted from the upper left corner, y downward.
"""

MM = 72 / 25.4  # points a millimetre
