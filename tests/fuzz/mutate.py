"""Broken, hostile and odd versions of good files; the same number gives the same version."""

from __future__ import annotations

import json
import sqlite3
import tomllib
from contextlib import closing, suppress
from random import Random
from typing import Any

NUMBERS = (
    "0", "-0.0", "-1", "1", "1e-320", "1e308", "-1e308", "1e999", "nan", "inf", "-inf", "4_7", "0x10", "9" * 400,
    "9" * 5000, "1e-9", "2147483648", "9223372036854775808", "180", "-180.0000001", "90", "360", "540", "1,5", "٣",
)  # fmt: skip
TEXTS = (
    "", " ", "\0", "\x1b[2J\x1b[31m", "\u202egnp.exe", "a" * 300, "x" * 70_000, "=cmd|' /C calc'!A0", ";=1+1", "＝1+1",
    "../../../etc/passwd", "/dev/zero", "/dev/stdin", "C:\\con", "{{7*7}}", "</script><script>alert(1)</script>",
    "Ω≈ç√∫", "\ud7ff\ue000", "👷", "'; DROP TABLE towers; --", "http://127.0.0.1/x", "/vsicurl/http://127.0.0.1/x",
    "WFS:http://127.0.0.1/x", "null", "true", "NaN", "[", "{", "]]>", "<!DOCTYPE a [<!ENTITY b 'c'>]>", "%s%n",
    "-1 OR 1=1", "EPSG:4978", "EPSG:-1", "+proj=longlat +nadgrids=none.gsb", "no", "9999-99-99", "2026-02-30", "H", "S",
    "1", "2",
)  # fmt: skip
BYTES = (
    b"\x00", b"\xff", b"\xff\xff\xff\xff", b"\x00\x00\x00\x80", b"\x7f\xff\xff\xff", b"\xc0\x80", b"\xed\xa0\x80",
    b"\x00\x00\x00\x00\x00\x00\xf8\x7f", b"\x00\x00\x00\x00\x00\x00\xf0\x7f", b"\xef\xbb\xbf", b"\r", b"\n\n", b'"',
    b",", b"<", b"&x;", b"\x1f\x8b\x08\x00", b"PK\x03\x04", b"SQLite format 3\x00",
)  # fmt: skip


def blind(data: bytes, random: Random) -> bytes:
    """Change, repeat, lose or put in some bytes anywhere."""
    changed = bytearray(data)
    for _ in range(random.choice((1, 1, 2, 3, 8, 40))):
        at = random.randrange(len(changed) + 1)
        length = random.choice((1, 1, 2, 4, 8, 64, 1000))
        match random.randrange(7):
            case 0 if at < len(changed):
                changed[at] ^= 1 << random.randrange(8)
            case 1 if at < len(changed):
                changed[at] = random.randrange(256)
            case 2:
                del changed[at : at + length]
            case 3:
                changed[at:at] = random.choice(BYTES)
            case 4:
                part = random.choice(BYTES)
                changed[at : at + len(part)] = part
            case 5:
                changed[at:at] = changed[at : at + length] * random.choice((1, 2, 50))
            case _ if random.random() < 0.3:
                del changed[at:]
    return bytes(changed)


def cells(data: bytes, random: Random, separator: str) -> bytes:
    """Put odd words in place of some cells of a table of text."""
    rows = [line.split(separator) for line in data.decode("utf-8").split("\n")]
    for _ in range(random.choice((1, 1, 2, 5))):
        row = random.choice(rows)
        match random.randrange(6):
            case 0:
                row.append(random.choice(TEXTS))
            case 1 if len(row) > 1:
                row.pop()
            case 2:
                rows.insert(random.randrange(len(rows)), list(random.choice(rows)))
            case _:
                row[random.randrange(len(row))] = random.choice((*NUMBERS, *TEXTS))
    return "\n".join(separator.join(row) for row in rows).encode("utf-8", "surrogatepass")


def words(data: bytes, random: Random) -> bytes:
    """Put odd words in place of some of those between quotes, angles, spaces and signs."""
    text = data.decode("utf-8")
    for _ in range(random.choice((1, 1, 2, 4))):
        starts = [i for i in range(1, len(text)) if text[i].isalnum() and not text[i - 1].isalnum()]
        if not starts:
            break
        start = random.choice(starts)
        end = start
        while end < len(text) and (text[end].isalnum() or text[end] in "._-"):
            end += 1
        text = text[:start] + random.choice((*NUMBERS, *TEXTS)) + text[end:]
    return text.encode("utf-8", "surrogatepass")


def tree(node: Any, random: Random) -> Any:
    """Change one thing somewhere in a tree of lists and tables."""
    places = list(_places(node))
    if not places:
        return _odd(random)
    holder, key = random.choice(places)
    match random.randrange(8):
        case 0 if isinstance(holder, dict):
            holder[random.choice(TEXTS)[:50]] = holder.pop(key)
        case 1:
            del holder[key]
        case 2:
            holder[key] = [holder[key]] * random.choice((1, 2, 300))
        case 3:
            holder[key] = {random.choice(TEXTS)[:50]: holder[key]}
        case 4:
            other, name = random.choice(places)
            with suppress(IndexError, KeyError):
                holder[key] = json.loads(json.dumps(other[name], default=str))
        case _:
            holder[key] = _odd(random)
    return node


def json_tree(data: bytes, random: Random) -> bytes:
    """Change a JSON file as a tree."""
    node = json.loads(data)
    for _ in range(random.choice((1, 1, 2, 4))):
        node = tree(node, random)
    text = json.dumps(node, ensure_ascii=random.random() < 0.5)
    if random.random() < 0.05:
        text = text.replace("}", ', "x": ' + "[" * 5000 + "]" * 5000 + "}", 1)
    return text.encode("utf-8", "surrogatepass")


def toml_tree(data: bytes, random: Random) -> bytes:
    """Change a TOML file as a tree."""
    node = tomllib.loads(data.decode("utf-8"))
    for _ in range(random.choice((1, 1, 2, 4))):
        node = tree(node, random)
    if not isinstance(node, dict):
        node = {"lines": node}
    return "".join(f"{_toml_key(key)} = {_toml(value)}\n" for key, value in node.items()).encode("utf-8", "replace")


def database(path: str, random: Random) -> None:
    """Change cells, rows, columns and the catalogue of a GeoPackage, in place."""
    with closing(sqlite3.connect(path)) as base:
        names = [row[0] for row in base.execute("SELECT name FROM sqlite_master WHERE type = 'trigger'")]
        for name in names:
            base.execute(f'DROP TRIGGER "{name}"')
        tables = [row[0] for row in base.execute("SELECT name FROM sqlite_master WHERE type = 'table'")]
        own = [name for name in tables if not name.startswith(("gpkg_", "rtree_", "sqlite_", "layer_styles"))]
        for _ in range(random.choice((1, 1, 2, 4))):
            with suppress(sqlite3.Error, OverflowError, IndexError):
                _change(base, random.choice(own if own and random.random() < 0.8 else tables), random)
        base.commit()


def _change(base: sqlite3.Connection, table: str, random: Random) -> None:
    columns = [row[1] for row in base.execute(f'PRAGMA table_info("{table}")')]
    column = random.choice(columns)
    rows = [row[0] for row in base.execute(f'SELECT rowid FROM "{table}"')]
    some = [random.choice(rows)] if rows and random.random() < 0.7 else rows
    where = f"WHERE rowid IN ({','.join(map(str, some))})"
    match random.randrange(12):
        case 0:
            base.execute(f'DELETE FROM "{table}" {where}')
        case 1:
            base.execute(f'ALTER TABLE "{table}" DROP COLUMN "{column}"')
        case 2:
            base.execute(f'ALTER TABLE "{table}" RENAME COLUMN "{column}" TO "odd"')
        case 3:
            base.execute(f'DROP TABLE "{table}"')
        case 4 if rows:
            other = random.choice(columns)
            base.execute(f'UPDATE "{table}" SET "{column}" = "{other}" {where}')
        case 5 if rows:
            ((value,),) = base.execute(f'SELECT "{column}" FROM "{table}" WHERE rowid = {some[0]}').fetchall()
            if isinstance(value, bytes):
                base.execute(f'UPDATE "{table}" SET "{column}" = ? {where}', (blind(value, random),))
        case 6:
            base.execute("UPDATE gpkg_geometry_columns SET srs_id = ?", (random.choice((-1, 0, 99, 4978, 3857)),))
        case 7:
            names = ", ".join(f'"{name}"' for name in columns[1:])
            base.execute(f'INSERT INTO "{table}" ({names}) SELECT {names} FROM "{table}" {where}')
        case _:
            base.execute(f'UPDATE "{table}" SET "{column}" = ? {where}', (_cell(random),))


def _cell(random: Random) -> Any:
    return random.choice(
        (None, -1, 0, 2**62, -1e308, float("nan"), float("inf"), b"", b"GP\x00\x01\xff", *TEXTS[:40], *NUMBERS[:12])
    )


def _places(node: Any) -> Any:
    keys = list(node) if isinstance(node, dict) else range(len(node)) if isinstance(node, list) else ()
    for key in keys:
        yield node, key
        yield from _places(node[key])


def _odd(random: Random) -> Any:
    return random.choice(
        (None, True, False, 0, -1, 1e308, -1e-320, 10**30, float("nan"), float("inf"), [], {}, [[]], *TEXTS, *NUMBERS)
    )


def _toml_key(key: str) -> str:
    return json.dumps(key)


def _toml(value: Any) -> str:
    if isinstance(value, dict):
        return "{" + ", ".join(f"{_toml_key(key)} = {_toml(item)}" for key, item in value.items()) + "}"
    if isinstance(value, list):
        return "[" + ", ".join(map(_toml, value)) + "]"
    if isinstance(value, str):
        return value if value in NUMBERS else json.dumps(value)
    if value is None:
        return '""'
    return str(value).lower() if isinstance(value, bool) else str(value)
