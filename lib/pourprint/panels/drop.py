"""A place to drop a file on: it is sent to the kernel in pieces and stays on this machine."""

from pathlib import Path

import traitlets

from pourprint.panels.live import Hearing


class Drop(Hearing):
    """A button for a file that is dropped on it or chosen; `taken(name, content)` is called with its bytes.

    `accept` endings such as ".stl"; `most` bytes that are read; the button says what it is `told`.
    """

    _esm = Path(__file__).with_suffix(".js")
    accept, most = traitlets.Unicode().tag(sync=True), traitlets.Int().tag(sync=True)

    def __init__(self, taken, **state):
        super().__init__(**state)
        self._taken, self._pieces = taken, []
        self.on_msg(self._received)

    def _received(self, widget, message, buffers):
        if message["first"]:
            self._pieces = []
        self._pieces.append(bytes(buffers[0]))
        if message["last"]:
            self._taken(message["name"], b"".join(self._pieces))
        else:
            self.told.send("next")
