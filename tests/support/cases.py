"""Cases that run under CPython and MicroPython alike: functions that raise when they fail."""

# ruff: noqa: UP031 - the same text on both interpreters


def run(cases):
    """Run all, printing one line each; let the first failure end the program."""
    for case in cases:
        print("case", case.__name__)
        case()
    print("passed", len(cases))


def equal(got, wanted):
    """Fail unless both are the same, and say both."""
    if got != wanted:
        raise AssertionError("got %r, wanted %r" % (got, wanted))


def refused(call, error, code):
    """Call; fail unless it raises this error with this code; return the error."""
    try:
        call()
    except error as raised:
        equal(raised.code, code)
        if not raised.message:
            raise AssertionError("no message with %s" % code) from None
        return raised
    raise AssertionError("%s not raised" % code)
