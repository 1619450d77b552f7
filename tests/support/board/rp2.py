# ruff: noqa: ARG001, ARG002
"""Stands in for the board's `rp2`: assembles programs of its state machines, and runs none.

Encodings: RP2040 datasheet, section 3.4 (instruction set), table of section 3.4.1 and the
sections of the single instructions. Only what the firmware uses, without delays and side-set.
"""

JMP, WAIT, PUSH, MOV = 0x0000, 0x2000, 0x8000, 0xA000
CONDITIONS = {"x_dec": 2, "pin": 6}  # 3.4.2: X-- and PIN; none is 0
WAIT_SOURCES = {"gpio": 0, "pin": 1}  # 3.4.3
MOV_TARGETS = {"x": 1, "isr": 6}  # 3.4.8
MOV_SOURCES = {"x": 1, "null": 3}
INVERT = 1 << 3  # 3.4.8, operation


class Program:
    """An assembled program: its words, in their order."""

    def __init__(self, words):
        self.words = words


def asm_pio(**settings):
    """Return a decorator that assembles what the words of the decorated function say."""

    def assemble(function):
        labels = {}
        for _ in range(2):  # first to learn the labels, then with them
            words = []
            namespace = _words(words, labels)
            kept = dict(function.__globals__)
            function.__globals__.update(namespace)
            try:
                function()
            finally:
                for name in namespace:
                    function.__globals__.pop(name)
                function.__globals__.update(kept)
        return Program(words)

    return assemble


def _words(words, labels):
    def label(name):
        labels[name] = len(words)

    def jmp(condition, target=None):
        if target is None:
            condition, target = None, condition
        code = CONDITIONS[condition] if condition else 0
        words.append(JMP | code << 5 | labels.get(target, 0))

    def wait(level, source, index):
        words.append(WAIT | level << 7 | WAIT_SOURCES[source] << 5 | index)

    def push(block):
        words.append(PUSH | {"noblock": 0, "block": 1}[block] << 5)

    def mov(target, source):
        operation, name = source if isinstance(source, tuple) else (0, source)
        words.append(MOV | MOV_TARGETS[target] << 5 | operation | MOV_SOURCES[name])

    names = {"label": label, "jmp": jmp, "wait": wait, "push": push, "mov": mov}
    names["invert"] = lambda name: (INVERT, name)
    for name in ("pin", "x", "x_dec", "isr", "null", "noblock"):
        names[name] = name
    return names


class StateMachine:
    """A state machine that never measures anything."""

    def __init__(self, number, program, in_base=None, jmp_pin=None):
        if in_base is not jmp_pin:
            raise RuntimeError("waits for one pin and looks at another")

    def restart(self):
        pass

    def active(self, on):
        pass

    def rx_fifo(self):
        return 0
