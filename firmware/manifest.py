# What goes on a board, as a MicroPython manifest.
# ruff: noqa: F821
package(
    "shared_protocol",
    files=(
        "__init__.py",
        "errors.py",
        "framing.py",
        "messages.py",
        "board_session.py",
        "table.py",
    ),
    base_path="..",
)
package("benchboard")
module("main.py")
