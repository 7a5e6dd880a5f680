"""How many answers from the network are being waited for, over all parts of the board code."""


class Waiting:
    count = 0
