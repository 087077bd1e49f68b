"""Work done apart: processes of our own for what is slow, foreign, or may fall.

    process = Process("trainer.sound.serving:serve", told=print, lost=print, patience=4.0)
    process.send(message)     # never waits; False where the process takes nothing any more
    process.end(within=1.0)   # asks, then terminates, then kills; never takes longer

The other end is one function that is given a `Line`:

    def serve(line: Line) -> None:
        for message in line:
            line.tell(answer(message))
"""

from trainer.apart.haste import hurry
from trainer.apart.inbox import Inbox
from trainer.apart.line import Line, end_at_last
from trainer.apart.passage import Passage, passage
from trainer.apart.process import Process
from trainer.apart.wire import JSON, PICKLED, Wire

__all__ = [
    "JSON",
    "PICKLED",
    "Inbox",
    "Line",
    "Passage",
    "Process",
    "Wire",
    "end_at_last",
    "hurry",
    "passage",
]
