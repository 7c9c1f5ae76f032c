"""What a hand at the tablet does: look at a page, and tap a button that stands on it."""

from html.parser import HTMLParser


class _Forms(HTMLParser):
    """The forms of a page: where each goes, and its hidden fields."""

    def __init__(self):
        super().__init__()
        self.forms, self._hidden = [], None

    def handle_starttag(self, tag, attrs):
        said = dict(attrs)
        if tag == "form":
            self._hidden = {}
            self.forms.append((said.get("action"), self._hidden))
        elif tag == "input" and said.get("type") == "hidden" and self._hidden is not None:
            self._hidden[said["name"]] = said.get("value", "")

    def handle_endtag(self, tag):
        if tag == "form":
            self._hidden = None


def key_on(client, page, address=None, **said):
    """The key in the form on a page that goes to an address (else to the page itself) and says so in hidden fields."""
    answer = client.get(page)
    assert answer.status_code == 200, answer.status_code
    return key_in(answer, address, **said)


def key_in(answer, address=None, **said):
    """The same of a page that was answered."""
    parser = _Forms()
    parser.feed(answer.content.decode())
    keys = [
        hidden["key"]
        for action, hidden in parser.forms
        if "key" in hidden
        and (action == address if address else action is None)
        and all(hidden.get(name, str(value)) == str(value) for name, value in said.items())
    ]
    assert keys, f"no form goes to {address}: {[action for action, _ in parser.forms]}"
    return keys[0]


def tap(client, address, said, on=None, **options):
    """Look at a page, by itself the one that is answered to, and send its form filled in."""
    key = key_on(client, on or address, address.partition("?")[0] if on else None, **said)
    return client.post(address, {"key": key, **said}, **options)
