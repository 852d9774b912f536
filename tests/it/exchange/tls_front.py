"""A server's TLS in front of one that has none: `tls_front.py CERTIFICATE KEY PLAIN_PORT` prints its own port."""

import contextlib
import socket
import ssl
import sys
import threading


def pump(source, sink):
    with contextlib.suppress(OSError):
        while data := source.recv(65536):
            sink.sendall(data)
    for end in (source, sink):
        with contextlib.suppress(OSError):
            end.shutdown(socket.SHUT_RDWR)


def serve(context, accepted, plain_port):
    try:
        secure = context.wrap_socket(accepted, server_side=True)
    except (ssl.SSLError, OSError):
        # Whoever does not trust the certificate hangs up here.
        return
    plain = socket.create_connection(("127.0.0.1", plain_port))
    threading.Thread(target=pump, args=(plain, secure), daemon=True).start()
    pump(secure, plain)


def main():
    certificate, key, plain_port = sys.argv[1:]
    context = ssl.SSLContext(ssl.PROTOCOL_TLS_SERVER)
    context.load_cert_chain(certificate, key)
    listener = socket.create_server(("127.0.0.1", 0))
    print(listener.getsockname()[1], flush=True)
    while True:
        accepted, _ = listener.accept()
        threading.Thread(target=serve, args=(context, accepted, int(plain_port)), daemon=True).start()


main()
