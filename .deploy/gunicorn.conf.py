"""Several web processes behind a proxy: ``gunicorn --config .deploy/gunicorn.conf.py kits.wsgi``.

They share what one of them works out only with ``CACHE_URL``, and want PostgreSQL. The proxy bounds how long a request
may be and how many connections one address may have (the examples beside this file do).
"""

import gc
import os
import sys
from pathlib import Path

sys.path.insert(0, str(Path(__file__).resolve().parents[1]))

from kits.shop_file import take_from_shop_file  # the project is not installed: it runs from its folder

take_from_shop_file()
bind = os.environ.get("LISTEN", "127.0.0.1:8000")
workers = int(os.environ.get("WEB_PROCESSES", "2"))
worker_class = "gthread"
threads = 8
timeout = 120  # a long list that is stored; the proxy waits as long
graceful_timeout = 30
keepalive = 75
limit_request_fields = 100
limit_request_line = 8190  # the places whose labels are asked for stand in the address
forwarded_allow_ips = ""  # what a proxy says is read by the site itself, from the proxies that TRUSTED_PROXY names
accesslog = None  # the site tells of each request itself, with who asked and how long it took
control_socket_disable = True  # nobody steers it by a socket in the home of its user, which the unit closes


def post_worker_init(worker):
    """A shop's lists are hundreds of thousands of values that stay: looked through seldom, as by `serve`."""
    gc.set_threshold(20_000, 20, 100)
