"""The door for a web server that speaks WSGI."""

from __future__ import annotations

import os

from django.conf import settings
from django.core.wsgi import get_wsgi_application

from kits.exchange.copies.in_service import serve_until_the_end
from kits.web.serving.behind_proxy import BehindProxy

os.environ.setdefault("DJANGO_SETTINGS_MODULE", "kits.settings")

application = BehindProxy(get_wsgi_application(), settings.TRUSTED_PROXIES)
serve_until_the_end()
