"""Pages of a PDF as another program reads them: whether their text can be read. The reader is pdfplumber, on pdfminer.six."""

import io

import pdfplumber


def overlaps(page):
    """Return pairs of characters on a page that lie on top of one another by more than a quarter of the smaller."""
    boxes = [(c["x0"], c["top"], c["x1"], c["bottom"], c["text"]) for c in page.chars if c["text"].strip()]
    boxes.sort()
    for i, a in enumerate(boxes):
        for b in boxes[i + 1 :]:
            if b[0] >= a[2]:
                break
            wide, high = min(a[2], b[2]) - b[0], min(a[3], b[3]) - max(a[1], b[1])
            small = min((c[2] - c[0]) * (c[3] - c[1]) for c in (a, b))
            if wide > 0 and high > 0 and wide * high > 0.25 * small:
                yield a, b


def assert_readable(data):
    """No text on text, none off the page, two sizes of type, every font embedded."""
    with pdfplumber.open(io.BytesIO(data)) as document:
        for page in document.pages:
            assert not list(overlaps(page)), page.page_number
            assert all(0 < c["x0"] and c["x1"] < page.width and 0 < c["top"] and c["bottom"] < page.height for c in page.chars)
            assert {round(c["size"], 1) for c in page.chars if c["upright"]} <= {7.5, 13.0}
            assert all("+" in c["fontname"] for c in page.chars)
        return [page.extract_text() for page in document.pages]
