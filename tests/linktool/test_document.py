"""Documents: every text arrives as it was, in HTML and in Markdown, whatever is in it."""

from __future__ import annotations

import re
from html.parser import HTMLParser

from hypothesis import given
from hypothesis import strategies as st

from linktool.render.document import (
    Entry,
    Figure,
    Heading,
    Paragraph,
    Table,
    Verbatim,
    to_html,
    to_markdown,
)

TAGS = {
    "html", "head", "meta", "title", "style", "body", "main", "h1", "h2", "p", "table", "thead", "tbody",
    "tr", "th", "td", "pre", "figure", "figcaption", "article", "span", "b", "strong", "div",
}  # fmt: skip
texts = st.text(st.characters(codec="utf-8", exclude_characters="\r\x00"), max_size=30)


class Reader(HTMLParser):
    def __init__(self) -> None:
        super().__init__(convert_charrefs=True)
        self.tags: set[str] = set()
        self.text = ""

    def handle_starttag(self, tag, attrs):
        self.tags.add(tag)
        assert all(name in ("class", "lang", "charset", "http-equiv", "content", "name") for name, _ in attrs)

    def handle_data(self, data):
        self.text += data


@given(st.lists(texts, min_size=10, max_size=10))
def test_any_text_is_text_in_html(words):
    blocks = [
        Heading(2, words[0]),
        Paragraph(words[1], quiet=True),
        Table((words[2],), ((words[3],),)),
        Verbatim(words[4], words[5]),
        Figure(words[6], "", ()),
        Entry(words[7], words[8], words[9], (("printed", words[0]), ("x", words[1])), wrong=True),
    ]
    reader = Reader()
    reader.feed(to_html(words[0], blocks))
    reader.close()
    assert reader.tags <= TAGS
    flat = reader.text
    for word in words:
        assert word in flat


@given(texts, texts)
def test_any_text_is_text_in_markdown(title, text):
    page = to_markdown(title, [Paragraph(text), Table(("a",), ((text,),)), Entry("12:00", "note", text)])
    for line in page.splitlines():
        assert not re.search(r"(?<!\\)<", line)
        assert not re.search(r"(?<!\\)`", line)
    rows = [line for line in page.splitlines() if line.startswith("|")]
    assert len(rows) == 3 and all(len(re.findall(r"(?<!\\)\|", row)) == 2 for row in rows)


@given(texts)
def test_what_was_printed_stands_in_a_fence_it_cannot_leave(text):
    page = to_markdown("t", [Verbatim("printed", text)])
    body = page.split("\n\n", 2)[2] if not text.startswith("\n") else page[page.index("`") :]
    fence = re.match("`+", body)
    assert fence and len(fence[0]) >= 3
    assert max((len(run) for run in re.findall("`+", text)), default=0) < len(fence[0])


def test_the_page_forbids_every_request():
    page = to_html("t", [])
    assert "Content-Security-Policy" in page and "default-src 'none'" in page and "<script" not in page
