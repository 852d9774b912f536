"""A server's TLS in front of one that has none: `tls_front.py CERTIFICATE KEY PLAIN_PORT` prints its own port."""

import asyncio
import contextlib
import functools
import ssl
import sys


async def pump(source: asyncio.StreamReader, sink: asyncio.StreamWriter) -> None:
    """Hands on what comes, until one side ends."""
    with contextlib.suppress(OSError):
        while data := await source.read(65536):
            sink.write(data)
            await sink.drain()
    sink.close()


async def serve(plain_port: int, source: asyncio.StreamReader, sink: asyncio.StreamWriter) -> None:
    """One connection whose client trusts the certificate."""
    plain_source, plain_sink = await asyncio.open_connection("127.0.0.1", plain_port)
    await asyncio.gather(pump(source, plain_sink), pump(plain_source, sink))


async def main() -> None:
    """Listens on this machine only, until it is killed."""
    certificate, key, plain_port = sys.argv[1:]
    context = ssl.SSLContext(ssl.PROTOCOL_TLS_SERVER)
    context.load_cert_chain(certificate, key)
    front = await asyncio.start_server(functools.partial(serve, int(plain_port)), "127.0.0.1", 0, ssl=context)
    print(front.sockets[0].getsockname()[1], flush=True)
    await front.serve_forever()


asyncio.run(main())
