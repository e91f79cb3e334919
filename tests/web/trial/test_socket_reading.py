"""Sockets are read in pieces, and no further than the application has come."""

import asyncio
from concurrent.futures import ThreadPoolExecutor
from typing import Any

import uvicorn
from uvicorn.server import ServerState
from websockets.client import ClientProtocol
from websockets.frames import Opcode
from websockets.uri import parse_uri

from server.socket_reading import LATE_BYTES, PIECE_BYTES, SocketInPieces

FLOOD = 10_000


class Wire(asyncio.Transport):
    """The server's side of a connection: what it wrote, and whether it reads."""

    def __init__(self) -> None:
        super().__init__()
        self.written = b""
        self.reads = True
        self.closed = False

    def write(self, data: Any) -> None:
        self.written += data

    def pause_reading(self) -> None:
        self.reads = False

    def resume_reading(self) -> None:
        self.reads = True

    def is_closing(self) -> bool:
        return self.closed

    def close(self) -> None:
        self.closed = True


class Line:
    """A browser on the other side of the wire."""

    def __init__(self, socket: SocketInPieces, wire: Wire) -> None:
        self.socket, self.wire = socket, wire
        self.client = ClientProtocol(parse_uri("ws://127.0.0.1/"))
        self.client.send_request(self.client.connect())
        self.send()

    def send(self) -> None:
        self.socket.data_received(b"".join(self.client.data_to_send()))

    def received(self) -> list[Any]:
        self.client.receive_data(self.wire.written)
        self.wire.written = b""
        return self.client.events_received()


def flooded(steps: Any) -> None:
    """Run ``steps`` on a line whose application is that coroutine."""

    async def work() -> None:
        done = asyncio.get_running_loop().create_future()

        async def app(_scope: Any, receive: Any, send: Any) -> None:
            await receive()
            await send({"type": "websocket.accept"})
            await asyncio.wait_for(steps(line, receive, send), 20)
            done.set_result(None)

        config = uvicorn.Config(app, ws_per_message_deflate=False)
        config.load()
        wire = Wire()
        socket = SocketInPieces(config, ServerState(), {})
        socket.connection_made(wire)
        line = Line(socket, wire)
        await asyncio.wait_for(done, 20)
        socket.stop_keepalive()

    # Browser tests before this one may have left an event loop running in their thread.
    with ThreadPoolExecutor(1) as pool:
        pool.submit(lambda: asyncio.run(work())).result()


def test_flood_is_taken_apart_no_faster_than_it_is_taken() -> None:
    async def steps(line: Line, receive: Any, _send: Any) -> None:
        line.received()
        for number in range(FLOOD):
            line.client.send_text(f"{number}".encode())
        line.send()
        most = 0
        for number in range(FLOOD):
            assert (await receive())["text"] == f"{number}"
            most = max(most, line.socket.queue.qsize())
            assert line.wire.reads is (number == FLOOD - 1)
        assert 1 < most < PIECE_BYTES / 6

    flooded(steps)


def test_message_longer_than_a_piece_comes_whole() -> None:
    async def steps(line: Line, receive: Any, _send: Any) -> None:
        line.received()
        line.client.send_text(b"x" * 5 * PIECE_BYTES)
        line.client.send_text(b"end")
        line.send()
        assert len((await receive())["text"]) == 5 * PIECE_BYTES
        assert (await receive())["text"] == "end"

    flooded(steps)


def test_who_floods_on_after_the_closing_is_not_listened_to() -> None:
    async def steps(line: Line, _receive: Any, send: Any) -> None:
        line.received()
        await send({"type": "websocket.close", "code": 1008, "reason": "a flood"})
        (closing,) = (e for e in line.received() if getattr(e, "opcode", None) is Opcode.CLOSE)
        assert closing.data.endswith(b"a flood")
        read: list[bytes | bytearray] = []
        line.socket.conn.receive_data = read.append  # type: ignore[method-assign, assignment]
        for _ in range(100):
            line.socket.data_received(b"x" * PIECE_BYTES)
            await asyncio.sleep(0)
        assert sum(map(len, read)) <= LATE_BYTES

    flooded(steps)


def test_answer_to_the_closing_ends_the_connection() -> None:
    async def steps(line: Line, _receive: Any, send: Any) -> None:
        line.received()
        await send({"type": "websocket.close", "code": 1008, "reason": "a flood"})
        line.received()
        line.send()
        await asyncio.sleep(0)
        assert line.wire.closed

    flooded(steps)
