# ruff: noqa: PTH123, SIM115 - for MicroPython, which has no pathlib
"""Stands in for a board's own prompt, under MicroPython on a computer.

The unix interpreter has no raw mode; this gives it one, so that tools which talk to a board talk
to real MicroPython with real files: the current folder is the board's store. As on a board,
main.py runs first when there is one, and the prompt comes when it ends. What the keys do: "The
MicroPython Interactive Interpreter Mode" and its "Raw mode and raw-paste mode" in MicroPython's
documentation, and shared/runtime/pyexec.c in its source.

It ends with exit code 3 where a board would start again; whoever runs it starts it again. Faults
by the environment: HINGELINE_SPOILS names a file in which one bit arrives wrong,
HINGELINE_DIES_AT one in the middle of which the power fails (exit code 9).
"""

import os
import sys

RESET = 3
POWER_CUT = 9
BANNER = b"MicroPython v%d.%d.%d on 2026-01-01; bench stand-in with unix\r\n"
RAW = b"raw REPL; CTRL-B to exit\r\n"
WINDOW = 128

spoils = os.getenv("HINGELINE_SPOILS")
dies_at = os.getenv("HINGELINE_DIES_AT")


class PowerCut(BaseException):
    pass


class SpoilingFile:
    def __init__(self, file, path):
        self.file = file
        self.path = path
        self.writes = 0

    def write(self, data):
        self.writes += 1
        if self.path == dies_at:
            self.file.write(data[: len(data) // 2])
            self.file.close()
            raise PowerCut
        if self.path == spoils and self.writes == 1:
            data = bytes([data[0] ^ 1]) + data[1:]
        return self.file.write(data)

    def close(self):
        self.file.close()


def board_open(path, mode="r"):
    file = open(path, mode)
    if "w" in mode and path in (spoils, dies_at):
        return SpoilingFile(file, path)
    return file


def fresh():
    return {"__name__": "__main__", "open": board_open}


def read():
    byte = sys.stdin.buffer.read(1)
    if not byte:
        sys.exit(0)  # nobody can ever say anything again
    return byte


def say(data):
    sys.stdout.buffer.write(data)


def carry_out(source, names, interactive):
    """Run what was sent; return whether it failed. What it prints goes out by itself."""
    try:
        if interactive:
            try:
                value = eval(source, names)
            except SyntaxError:
                exec(source, names)
            else:
                if value is not None:
                    print(repr(value))
        else:
            exec(source, names)
    except SystemExit:
        raise
    except (Exception, KeyboardInterrupt) as error:
        if not interactive:
            say(b"\x04")
        sys.print_exception(error)
        return True
    return False


def banner():
    say(b"\r\n" + BANNER % sys.implementation[1][:3] + b'Type "help()" for more information.\r\n')


def friendly(names):
    banner()
    while True:
        say(b">>> ")
        line = b""
        while True:
            key = read()
            if key == b"\r":
                say(b"\r\n")
                break
            if 32 <= key[0] <= 126:
                line += key
                say(key)
            elif key == b"\x03":
                say(b"\r\n")
                line = b""
                break
            elif not line and key == b"\x01":
                say(b"\r\n")
                return
            elif not line and key == b"\x02":
                banner()
                break
            elif not line and key == b"\x04":
                sys.exit(RESET)
        if line:
            carry_out(line, names, True)


def raw(names):
    say(RAW)
    code = b""
    say(b">")
    while True:
        key = read()
        if key == b"\x01":
            if code == b"\x05A":
                code = pasted()
            else:
                code = b""
                say(RAW + b">")
                continue
        elif key == b"\x02":
            return
        elif key == b"\x03":
            code = b""
            continue
        elif key == b"\x04":
            say(b"OK")
            if not code:
                say(b"\r\nMPY: soft reboot\r\n" + RAW + b">")
                names.clear()
                names.update(fresh())
                continue
        else:
            code += key
            continue
        if code is not None and not carry_out(code, names, False):
            say(b"\x04")
        say(b"\x04>")
        code = b""


def pasted():
    say(b"R\x01" + bytes([WINDOW & 255, WINDOW >> 8]) + b"\x01")
    code = bytearray()
    left = WINDOW
    while True:
        key = read()
        if key in (b"\x03", b"\x04"):
            say(b"\x04")
            if key == b"\x04":
                return bytes(code)
            say(b"\x04")
            return None
        code += key
        left -= 1
        if left == 0:
            say(b"\x01")
            left = WINDOW


def begin():
    here = sys.path[0]
    sys.path[:] = ["", here, ".frozen"]  # the store first; then what stands in for the chip
    try:
        try:
            text = open("main.py").read()
        except OSError:
            text = ""
        if text:
            carry_out(text, {"__name__": "__main__"}, True)
        names = fresh()
        while True:
            friendly(names)
            raw(names)
    except PowerCut:
        sys.exit(POWER_CUT)
    except SystemExit as end:
        # A program that ends itself starts the board again; code 0 is ours: the port has gone.
        sys.exit(0 if end.args == (0,) else RESET)


begin()
