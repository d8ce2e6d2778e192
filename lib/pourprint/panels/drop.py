"""A place to drop a file on: it is sent to the kernel in pieces and stays on this machine."""

from pathlib import Path

import traitlets

from pourprint.panels.live import Hearing


class Drop(Hearing):
    """A button for a file that is dropped on it or chosen: its `file` (name, bytes), or None; `taken()` is called then.

    `accept` endings such as ".stl"; `most` bytes that are read; the button says what it is `told`.
    """

    _esm = Path(__file__).with_suffix(".js")
    accept, most = traitlets.Unicode().tag(sync=True), traitlets.Int().tag(sync=True)

    def __init__(self, taken, **state):
        super().__init__(**state)
        self.file, self._taken, self._pieces = None, taken, []
        self.on_msg(self._received)

    def _received(self, widget, message, buffers):
        if message["first"]:
            self._pieces = []
        self._pieces.append(bytes(buffers[0]))
        if message["last"]:
            self.file = message["name"], b"".join(self._pieces)
            self._taken()
        else:
            self.told.send("next")
