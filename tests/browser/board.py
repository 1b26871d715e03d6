"""A board on the network, in a process of its own: sends a stream file at the pace of its own clock.

Run as ``python board.py FILE PORT SECONDS``: whoever connects is sent the file, which lasts so long.
"""

import socket
import sys
import time


def main():
    path, port, seconds = sys.argv[1], int(sys.argv[2]), float(sys.argv[3])
    with open(path, "rb") as file:
        data = file.read()
    with socket.create_server(("127.0.0.1", port)) as server:
        print(server.getsockname()[1], flush=True)
        while True:
            connection, _ = server.accept()
            begun, sent = time.monotonic(), 0
            with connection:
                while sent < len(data):
                    due = int((time.monotonic() - begun) / seconds * len(data))
                    connection.sendall(data[sent:due])
                    sent = max(due, sent)
                    time.sleep(0.02)


if __name__ == "__main__":
    main()
