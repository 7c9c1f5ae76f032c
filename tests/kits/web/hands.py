"""What a hand at the tablet does: look at a page, tap a button that stands on it, send a form as it stands there."""

from html.parser import HTMLParser


class _Forms(HTMLParser):
    """The forms of a page: where each goes, its hidden fields, and all that it would send as it stands."""

    def __init__(self):
        super().__init__()
        self.forms, self._hidden, self._standing, self._select, self._text = [], None, {}, None, None

    def handle_starttag(self, tag, attrs):
        said = dict(attrs)
        name, value, kind = said.get("name"), said.get("value"), said.get("type", "text")
        if tag == "form":
            self._hidden, self._standing = {}, {}
            self.forms.append((said.get("action"), self._hidden, self._standing))
        elif self._hidden is None:
            return
        elif tag == "input" and name:
            if kind == "hidden":
                self._hidden[name] = value or ""
            if kind not in ("submit", "button", "file") and (kind not in ("checkbox", "radio") or "checked" in said):
                self._standing[name] = value if value is not None else "on" if kind == "checkbox" else ""
        elif tag == "select":
            self._select = name
        elif tag == "option" and self._select and ("selected" in said or self._select not in self._standing):
            self._standing[self._select] = value or ""
        elif tag == "textarea":
            self._text, self._standing[name] = name, ""

    def handle_data(self, data):
        if self._text:
            self._standing[self._text] += data

    def handle_endtag(self, tag):
        if tag == "form":
            self._hidden = None
        elif tag == "select":
            self._select = None
        elif tag == "textarea":
            self._text = None


def key_on(client, page, address=None, **said):
    """The key in the form on a page that goes to an address (else to the page itself) and says so in hidden fields."""
    answer = client.get(page)
    assert answer.status_code == 200, answer.status_code
    return key_in(answer, address, **said)


def key_in(answer, address=None, **said):
    """The same of a page that was answered."""
    return form_on(answer.content.decode(), address, **said)["key"]


def form_on(page, address=None, **said):
    """The hidden fields of the form with a key on a page that goes to an address (else to the page itself)."""
    forms = _forms_on(page)
    found = [
        hidden
        for action, hidden, _ in forms
        if "key" in hidden
        and (address in (action, (action or "").partition("?")[0]) if address else action is None)
        and all(hidden.get(name, str(value)) == str(value) for name, value in said.items())
    ]
    assert found, f"no form goes to {address}: {[action for action, *_ in forms]}"
    return found[0]


def _forms_on(page):
    parser = _Forms()
    parser.feed(page)
    return parser.forms


def tap(client, address, said, on=None, **options):
    """Look at a page, by itself the one that is answered to, and send its form filled in."""
    key = key_on(client, on or address, address.partition("?")[0] if on else None, **said)
    return client.post(address, {"key": key, **said}, **options)


def send(client, page, action=None, **said):
    """Look at a page (or have it as an answer), and send the form that goes to the address, filled in besides.

    Without an address it is the form that goes to the page itself.
    """
    answer = client.get(page) if isinstance(page, str) else page
    assert answer.status_code == 200, answer.status_code
    forms = _forms_on(answer.content.decode())
    [standing] = [found for goes, hidden, found in forms if goes == action and "key" in hidden]
    return client.post(action or answer.request["PATH_INFO"], {**standing, **said}, follow=True)
