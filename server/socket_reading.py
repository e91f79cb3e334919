"""How sockets are read: in small pieces, and no further than the application has come.

The event loop answers everybody. A chunk that the operating system hands over may hold ten thousand
short messages, and to take them apart all at once would keep everybody waiting.
"""

import asyncio
from typing import Any

from uvicorn.protocols.websockets.websockets_sansio_impl import WebSocketsSansIOProtocol

PIECE_BYTES = 2048
"""What is taken apart in one turn of the event loop."""

LATE_BYTES = 16 * PIECE_BYTES
"""Read after the socket was closed from here, to find the other side's answer to that."""


class SocketInPieces(WebSocketsSansIOProtocol):
    """A WebSocket connection of uvicorn that reads on when the application has taken all it has."""

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self._unread = bytearray()
        self._next: asyncio.Handle | None = None
        self._late = 0

    def data_received(self, data: bytes) -> None:
        if self.close_sent:
            self._late += len(data)
            if self._late > LATE_BYTES:
                # Who floods on is not listened to; a timer closes the connection.
                self._unread.clear()
                return
        self._unread += data
        if self._next is None:
            self._take_piece()

    async def receive(self) -> Any:
        message = await super().receive()
        if not self.read_paused:
            self._go_on()
        return message

    def _take_piece(self) -> None:
        self._next = None
        if self.transport.is_closing():
            self._unread.clear()
            return
        piece = bytes(self._unread[:PIECE_BYTES])
        del self._unread[:PIECE_BYTES]
        super().data_received(piece)
        # While messages wait for the application, the rest waits for ``receive``.
        if not self.read_paused:
            self._go_on()

    def _go_on(self) -> None:
        """Have the next piece taken apart soon, or more read if there is none."""
        if not self._unread:
            self.transport.resume_reading()
            return
        self.transport.pause_reading()
        if self._next is None:
            self._next = self.loop.call_soon(self._take_piece)
