"""What is wrong with a page that stands in the browser: barriers, edges, targets too small to hit."""

from pathlib import Path

import axe_playwright_python
from playwright.sync_api import Error as PageError

AXE = (Path(axe_playwright_python.__file__).parent / "axe.min.js").read_text(encoding="utf-8")
"""axe-core, which holds rules of WCAG 2.2 that a program can test, as its library for this browser brings it."""
BARRIERS = """() => axe
    .run(document, {resultTypes: ['violations'], rules: {'color-contrast': {enabled: false}}})
    .then(found => found.violations.map(one => `${one.id} at ${one.nodes[0].target}`))"""
PAIRS = """() => {
    const looks = new Map();
    const look = node => {
        if (!node) return {ground: '', faded: 1};
        if (!looks.has(node)) {
            const {backgroundColor: colour, backgroundImage: image, opacity} = getComputedStyle(node);
            const behind = look(node.parentElement);
            const bare = colour === 'rgba(0, 0, 0, 0)' && image === 'none';
            const ground = `${colour.startsWith('rgb(') || bare ? '' : behind.ground} ${colour} ${image}`;
            looks.set(node, {ground: bare ? behind.ground : ground, faded: behind.faded * opacity});
        }
        return looks.get(node);
    };
    const written = node => node.matches('input, select, textarea') ||
        [...node.childNodes].some(one => one.nodeType === Node.TEXT_NODE && one.data.trim());
    window.written = {};
    for (const node of document.body.querySelectorAll('*')) {
        if (!written(node) || !node.checkVisibility({visibilityProperty: true})) continue;
        if (node.getBoundingClientRect().width <= 1) continue;
        const {color, fontSize, fontWeight} = getComputedStyle(node);
        const {ground, faded} = look(node);
        const pair = [color, fontSize, fontWeight, ground, faded, node.matches(':disabled')].join(' ');
        (window.written[pair] ||= []).push(node);
    }
    return Object.keys(window.written);
}"""
"""The pairs of ink and ground that a page shows; what is written in each is kept there."""
PALE = """pairs => axe
    .run({include: pairs.flatMap(pair => window.written[pair].slice(0, 3))}, {runOnly: ['color-contrast']})
    .then(found => found.violations.flatMap(one => one.nodes).map(one => `color-contrast at ${one.target}`))"""
BY_DAY = {"media": "screen", "color_scheme": "light", "contrast": "no-preference", "forced_colors": "none"}
OTHER_SETS = {
    "dark": {"color_scheme": "dark"},
    "more contrast": {"contrast": "more"},
    "the reader's own colours": {"forced_colors": "active", "color_scheme": "dark"},
    "print": {"media": "print"},
}
WIDTHS = (1440, 1112, 768, 640, 320)
"""A desk, a tablet either way, a laptop of 1280 at 200 %, and the narrowest of WCAG 2.2, 1.4.10 (reflow)."""
LEAST, FINGER = 24, 44
"""CSS pixels: WCAG 2.2, 2.5.8 (target size, minimum), and 2.5.5 (enhanced) for a hand in a glove."""
TOO_LOW = """([least, within]) => {
    const box = node => node.getBoundingClientRect();
    const height = node => {
        const taken = [node, ...(node.labels || []), ...(node.closest('.tick') ? [node.closest('.tick')] : [])];
        const cover = getComputedStyle(node, '::after');
        if (cover.content !== 'none' && cover.position === 'absolute') taken.push(node.offsetParent || node);
        return Math.max(...taken.map(one => box(one).height));
    };
    return [...document.querySelectorAll(`${within} :is(a[href], button, input, select, textarea, summary)`)]
        .filter(node => node.type !== 'hidden' && node.checkVisibility({visibilityProperty: true}))
        .filter(node => box(node).width > 1 && height(node) < least - 0.5)
        .map(node => `${node.tagName} “${node.innerText || node.name}” ${Math.round(height(node))} px`);
}"""
HEADS_ASIDE = """() => {
    const seen = node => getComputedStyle(node).display !== 'none';
    const across = row => [...row.cells].filter(seen).length;
    const plain = row => seen(row) && [...row.cells].every(cell => cell.colSpan === 1 && cell.rowSpan === 1);
    return [...document.querySelectorAll('table')]
        .filter(table => table.tHead?.rows.length === 1 && plain(table.tHead.rows[0]))
        .filter(table => [...table.tBodies].some(body => [...body.rows].some(
            row => plain(row) && across(row) !== across(table.tHead.rows[0]))))
        .map(table => `heads stand over other cells: ${table.tHead.innerText}`);
}"""
PAST_THE_WINDOW = "document.documentElement.scrollWidth > document.documentElement.clientWidth"


_known_pairs = set()


def is_a_page(page, address):
    """Go there; it is no page if the browser takes it for a file, or shows it as one."""
    try:
        answer = page.goto(address)
    except PageError as error:
        if "Download is starting" not in str(error):
            raise
        return False
    assert answer.ok, f"{address}: {answer.status}"
    return answer.headers["content-type"].startswith("text/html")


def barriers_of(page):
    """What axe finds by all its rules."""
    _bring_axe(page)
    return [*page.evaluate(BARRIERS), *pale_on(page)]


def pale_on(page):
    """What axe finds too pale to read, where a page shows a pair of ink and ground that no page showed before it."""
    pairs = [pair for pair in page.evaluate(PAIRS) if pair not in _known_pairs]
    if not pairs:
        return []
    _bring_axe(page)
    found = page.evaluate(PALE, pairs)
    if not found:
        _known_pairs.update(pairs)
    return found


def _bring_axe(page):
    if not page.evaluate("'axe' in window"):
        page.evaluate(AXE)


def too_low_for_a_glove(page):
    """What is too low where the screen is touched."""
    devtools = page.context.new_cdp_session(page)
    devtools.send("Emulation.setTouchEmulationEnabled", {"enabled": True})
    assert page.evaluate("matchMedia('(pointer: coarse)').matches")
    found = page.evaluate(TOO_LOW, [FINGER, "main"])
    devtools.send("Emulation.setTouchEmulationEnabled", {"enabled": False})
    return found


def faults_of(page, *, in_gloves=False, sets=OTHER_SETS):
    """All that is wrong with a page, everything on it opened, in each set of colours and at each width."""
    widest, *narrower = ({"width": width, "height": 1000} for width in WIDTHS)
    page.emulate_media(**BY_DAY)
    if page.viewport_size != widest:
        page.set_viewport_size(widest)
    page.evaluate("document.querySelectorAll('details').forEach(node => { node.open = true; })")
    page.evaluate("document.getAnimations().forEach(one => one.finish())")
    found = [f"by day: {one}" for one in barriers_of(page)]
    found += [f"too low: {one}" for one in page.evaluate(TOO_LOW, [LEAST, "body"])]
    if in_gloves:
        found += [f"too low for a glove: {one}" for one in too_low_for_a_glove(page)]
    for name, colours in sets.items():
        page.emulate_media(**{**BY_DAY, **colours})
        found += [f"{name}: {one}" for one in [*pale_on(page), *page.evaluate(HEADS_ASIDE)]]
    page.emulate_media(**BY_DAY)
    for size in (*narrower, widest):  # at which the next page opens
        page.set_viewport_size(size)
        found += [f"wider than {size['width']}"] if page.evaluate(PAST_THE_WINDOW) else []
    return found
