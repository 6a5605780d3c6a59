"""A document as one HTML page: no script, no font, no picture from elsewhere; it can be kept for years.

Readable on a telephone, and printed as the PDF is: A4, what belongs together stays together.
"""

import base64
from collections.abc import Iterable
from typing import assert_never

from pourcall.contract.message import tell
from pourcall.records.entries.photos import TYPES
from pourcall.reports.drawings.markup import esc
from pourcall.reports.pages import document as doc
from pourcall.texts import say

INLINE_BYTES = 24 * 2**20  # of photos in one page; a browser on a telephone still opens that

_STYLE = """
*{box-sizing:border-box}
body{font:15px/1.35 system-ui,sans-serif;color:#1b1b1b;max-width:60em;margin:0 auto;padding:.8em;background:#fff}
.banner{display:flex;flex-wrap:wrap;gap:.2em 1.4em;align-items:center;margin:.4em 0 .3em}
.banner>h1,.banner>b{font-size:2.3em;line-height:1.1;margin:0;font-weight:800}.beside{font-size:1.15em}
.rule{border-bottom:3px solid #1b1b1b;padding-bottom:.3em;align-items:flex-end}.rule .beside b{font-size:1.15em}
.rule h1.short{font-size:3.4em;line-height:1;white-space:nowrap}
.good{color:#1b6b2f}.bad{color:#a11d1d}.grey{color:#444}.stamp{border:2px solid #a11d1d;color:#a11d1d;padding:0 .4em}
.filled{border:1px solid #888;padding:0 .35em}p{margin:.2em 0 .5em}.small{font-size:.8em;color:#444;margin:.2em 0}
h2{font-size:1.05em;margin:.8em 0 .25em;border-bottom:1px solid #999}
.two{display:grid;grid-template-columns:repeat(auto-fit,minmax(min(21em,100%),1fr));gap:0 1.6em}
.two>section{min-width:0}
.flow{columns:21em;column-gap:1.6em}.flow>section{break-inside:avoid}.flow h2{margin-top:.4em}
.figures{display:flex;flex-wrap:wrap;gap:.5em 2em;margin:.6em 0;padding:.5em .8em;border:2px solid #1b1b1b}
.figures b{display:block;font-size:1.45em;white-space:nowrap}
ul{margin:.1em 0;padding-left:1.3em}li{overflow-wrap:anywhere}.check{list-style:none;padding-left:1.4em}
.check li{text-indent:-1.4em}.check li:before{content:"\\2610  "}
.wide{overflow-x:auto}table{border-collapse:collapse;width:100%}th,td{text-align:left;vertical-align:top}
.pairs th{font-weight:600;white-space:nowrap;padding:.08em .8em .08em 0}
.pairs td{padding:.08em 0;overflow-wrap:anywhere}
.table th,.table td{border-bottom:1px solid #ccc;padding:.2em .8em .2em 0;overflow-wrap:break-word;min-width:6em}
.table td:first-child{color:#444;min-width:10em}.shaded td{background:#fdf0e4}.strong td{font-weight:700}
.listing{columns:21em;font-size:.88em;list-style:none;padding:0}.listing li{break-inside:avoid;padding-left:5.6em;
text-indent:-5.6em}.listing b.sign{display:inline-block;width:1.6em;text-align:center;text-indent:0}
.listing time{display:inline-block;width:3.6em;text-indent:0;color:#444;font-variant-numeric:tabular-nums}
.photos{display:flex;flex-wrap:wrap;gap:.6em}.photos figure{margin:0;flex:1 1 15em;max-width:26em;break-inside:avoid}
.photos img{width:100%;max-height:26em;object-fit:contain;border:1px solid #bbb}figcaption{font-size:.85em}
.box{border:2px solid #a11d1d;padding:.2em .6em;margin:.7em 0 .3em;break-inside:avoid}
.drawing{overflow-x:auto}svg{width:100%;height:auto;max-width:48em;display:block}
@media(max-width:40em){.wide table{min-width:36em}.broad svg{min-width:32em}}
@page{size:A4;margin:10mm}
@media print{body{font-size:9.4pt;padding:0;max-width:none}.two{grid-template-columns:1fr 1fr}
h2{break-after:avoid;margin:.5em 0 .2em}
svg{max-height:105mm}svg,tr,li,.figures{break-inside:avoid}.break{break-before:page}
*{-webkit-print-color-adjust:exact;print-color-adjust:exact}}
"""


def html(document: doc.Document) -> str:
    """The whole page."""
    left = [INLINE_BYTES]
    parts = [*_blocks(document.body, left)]
    if document.after:
        parts += ['<div class="break"></div>', *_blocks(document.after, left)]
    return (
        '<!doctype html>\n<html lang="en"><head><meta charset="utf-8">'
        '<meta name="viewport" content="width=device-width, initial-scale=1">'
        f"<title>{esc(document.title)}</title><style>{_STYLE}</style></head>\n<body>\n"
        + "\n".join(parts)
        + "\n</body></html>\n"
    )


def _blocks(blocks: Iterable[doc.Block], left: list[int]) -> list[str]:
    """`left`: bytes of photos that still find room, counted down."""
    return [_block(block, left) for block in blocks]


def _block(block: doc.Block, left: list[int]) -> str:
    match block:
        case doc.Banner():
            return _banner(block)
        case doc.Paragraph():
            return f"<p{_class('small' if block.small else '')}>{_line(block.line)}</p>"
        case doc.Bullets():
            return f"<ul{_class('check' if block.check else '')}>{_items(block.items)}</ul>"
        case doc.Figures():
            told = "".join(f"<div>{esc(name)}<b>{esc(figure)}</b></div>" for name, figure in block.items)
            return f'<div class="figures">{told}</div>'
        case doc.Pairs():
            rows = "".join(f"<tr><th>{esc(name)}</th><td>{esc(value)}</td></tr>" for name, value in block.rows)
            return f'<table class="pairs">{rows}</table>'
        case doc.Table():
            head = "".join(f"<th>{esc(name)}</th>" for name in block.head)
            rows = "".join(f"<tr{_class(row.look)}>{_cells(row.cells)}</tr>" for row in block.rows)
            return f'<div class="wide"><table class="table"><tr>{head}</tr>{rows}</table></div>'
        case doc.Listing():
            items = "".join(
                f'<li><b class="sign">{esc(one.sign)}</b> <time>{esc(one.when)}</time> '
                f"{_line((doc.Run(one.what, bold=one.strong),))}</li>"
                for one in block.items
            )
            return f'<ul class="listing">{items}</ul>'
        case doc.Drawing():
            return f'<div class="{"drawing broad" if block.broad else "drawing"}">{block.svg}</div>'
        case doc.Pictures():
            return f'<div class="photos">{"".join(_picture(one, left) for one in block.items)}</div>'
        case doc.Box():
            body = f" {_line(block.items[0])}" if len(block.items) == 1 else f"<ul>{_items(block.items)}</ul>"
            return f'<div class="box"><b>{esc(block.title)}</b>{body}</div>'
        case doc.Section():
            return f"<h2>{esc(block.title)}</h2>\n" + "\n".join(_blocks(block.body, left))
        case doc.Beside():
            parts = "".join(f"<section>{''.join(_blocks(part, left))}</section>" for part in block.parts)
            return f'<div class="{"flow" if block.flow else "two"}">{parts}</div>'
        case _:
            assert_never(block)


def _banner(banner: doc.Banner) -> str:
    beside = "<br>".join(_line(line) for line in banner.beside)
    hint = f' title="{esc(banner.hint)}"' if banner.hint else ""
    big = f"<b>{esc(banner.big)}</b>"
    if banner.rule:
        big = f"<h1{_class('short' if beside else '')}{hint}>{esc(banner.big)}</h1>"
    look = "banner rule" if banner.rule else "banner"
    return f'<div class="{look}">{big}<div class="beside">{beside}</div></div>'


def _class(name: str) -> str:
    return f' class="{name}"' if name else ""


def _cells(cells: Iterable[str]) -> str:
    return "".join(f"<td>{esc(cell)}</td>" for cell in cells)


def _items(items: Iterable[doc.Line]) -> str:
    return "".join(f"<li>{_line(item)}</li>" for item in items)


def _line(line: doc.Line) -> str:
    told = []
    for text, bold, tone, fill in doc.runs(line):
        said = f"<b>{esc(text)}</b>" if bold else esc(text)
        if fill:
            said = f'<span class="filled" style="background:{esc(fill)}">{said}</span>'
        told.append(f'<span class="{tone}">{said}</span>' if tone else said)
    return "".join(told)


def _picture(picture: doc.Picture, left: list[int]) -> str:
    """The photo itself, its bytes in the page; one that cannot be shown is named."""
    name, caption = picture.path.name, esc(picture.caption)
    kind, why = TYPES.get(picture.path.suffix), None
    try:
        body = picture.path.read_bytes()
    except OSError:
        body, why = b"", tell("page.photo_missing", file=name)
    if why is None and kind is None:
        why = tell("page.photo_none", file=name)
    if why is None and len(body) > left[0]:
        why = tell("page.photo_large", file=name)
    if why is not None:
        return f"<figure><figcaption>{caption}: {esc(say(why))}</figcaption></figure>"
    left[0] -= len(body)
    data = base64.b64encode(body).decode("ascii")
    shown = f'<img alt="{caption}" src="data:{kind};base64,{data}">'
    return f"<figure>{shown}<figcaption>{caption}</figcaption></figure>"
