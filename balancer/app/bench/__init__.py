"""The source in use: a process that records, the file that it writes, a thread that follows the file.

It knows no Streamlit. The app owns no port: whatever happens to a page or to the server, the process goes on
writing until it is told to end, or until its standard input closes because the server is gone.
"""

from balancer.app.bench.service import Bench
from balancer.app.bench.view import BAND, BUSY, HOLD, BenchFile, BenchState, BenchView, Capture, Wish

__all__ = [
    "BAND",
    "BUSY",
    "HOLD",
    "Bench",
    "BenchFile",
    "BenchState",
    "BenchView",
    "Capture",
    "Wish",
]
