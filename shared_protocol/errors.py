"""The two kinds of protocol error: ours and theirs.

``LocalProtocolError`` means that this side was asked to send something it must
not send. ``RemoteProtocolError`` means that what came in was damaged or is not
this language. Anything else that escapes this package is a bug in it.
"""


class ProtocolError(Exception):
    """What the two kinds share; raised only as one of them.

    Parameters
    ----------
    code : str
        Name of the error, as listed in ``table.ERRORS``.
    message : str
        What is wrong, with the value and the limit.
    key : str
        Key of the field concerned, or empty.
    value : int
        The offending value; 0 where there is none.
    limit : int
        The limit it met; 0 where there is none.
    """

    def __init__(self, code: str, message: str, key: str = "", value: int = 0, limit: int = 0):
        super().__init__(message)
        self.code = code
        self.message = message
        self.key = key
        self.value = value
        self.limit = limit


class LocalProtocolError(ProtocolError):
    """Our side was asked to send what the protocol forbids."""


class RemoteProtocolError(ProtocolError):
    """The other side sent something damaged, or outside the protocol."""
