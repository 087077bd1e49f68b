"""What `doctor` looks at: what this machine offers for practice, and what to do where it does not.

Each examination is a function that returns findings. They run beside one another, and one that
gets no answer from a device, a server or a disk is given up and said so.
"""
