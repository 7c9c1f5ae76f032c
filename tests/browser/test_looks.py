"""What looks at the pages sees what it is there for."""

from tests.browser.looks import faults_of

SHEET = """<html lang="en"><title>x</title><style>
    @media (prefers-color-scheme: dark) { body { background: #222; color: #eee } p { color: %s } }</style>
    <main><h1>Title</h1><p>Words</p><div>More words</div></main>"""


def test_writing_too_pale_is_seen_on_every_page_until_it_is_mended(page):
    for colour, pale in (("#555", True), ("#555", True), ("#666", True), ("#ddd", False), ("#555", True)):
        page.set_content(SHEET % colour)
        assert ("dark: color-contrast at p" in faults_of(page)) is pale
        assert "by day: color-contrast at p" not in faults_of(page)
