"""A workbook as spreadsheet programs save it: its texts in a table that cells share, not in the cells themselves."""

import io
import re
import zipfile

MAIN = b"http://schemas.openxmlformats.org/spreadsheetml/2006/main"
INLINE = re.compile(rb'(<c r="[A-Z]+[0-9]+"(?: s="[0-9]+")?) t="inlineStr"><is><t[^>]*>([^<]*)</t></is></c>')
SHARED_TYPE = (
    b'<Override PartName="/xl/sharedStrings.xml" ContentType="application/'
    b'vnd.openxmlformats-officedocument.spreadsheetml.sharedStrings+xml"/>'
)
SHARED_RELATION = (
    b'<Relationship Id="rShared" Target="/xl/sharedStrings.xml" Type="http://schemas.openxmlformats.org/'
    b'officeDocument/2006/relationships/sharedStrings"/>'
)


def share_texts(content):
    """The same workbook with its texts in a table of their own."""
    places = {}

    def share(found):
        place = places.setdefault(found[2], len(places))
        return b'%s t="s"><v>%d</v></c>' % (found[1], place)

    out = io.BytesIO()
    with zipfile.ZipFile(io.BytesIO(content)) as old, zipfile.ZipFile(out, "w", zipfile.ZIP_DEFLATED) as new:
        for entry in old.infolist():
            text = old.read(entry)
            if entry.filename.startswith("xl/worksheets/sheet"):
                text = INLINE.sub(share, text)
            elif entry.filename == "[Content_Types].xml":
                text = text.replace(b"</Types>", SHARED_TYPE + b"</Types>")
            elif entry.filename == "xl/_rels/workbook.xml.rels":
                text = text.replace(b"</Relationships>", SHARED_RELATION + b"</Relationships>")
            new.writestr(entry.filename, text)
        table = b"".join(b"<si><t>%s</t></si>" % text for text in places)
        new.writestr("xl/sharedStrings.xml", b'<sst xmlns="%s">%s</sst>' % (MAIN, table))
    return out.getvalue()
