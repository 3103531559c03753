"""Scanned labels, read by biip: every identifier, labels of rolls in any order, labels with a mistake."""

import datetime
import json
import random
import re
from types import SimpleNamespace

import biip
import biip.gs1_element_strings as elements
from biip.checksums import gs1_standard_check_digit
from biip.gs1_application_identifiers import _GS1_APPLICATION_IDENTIFIERS as IDENTIFIERS
from biip.gs1_digital_link_uris import GS1DigitalLinkURI
from biip.gs1_messages import GS1Message

import table

GS = "\x1d"
TEXT = "ABCDEFGHIJKLMNOPQRSTUVWXYZabcdefghijklmnopqrstuvwxyz0123456789-/.,:;_+*%&'\"!?<>=()"
draw = random.Random(8001)

# Identifiers whose first digits of the value are a number with a check digit, by its length.
CHECKED = {"00": 18, "01": 14, "02": 14, "03": 14, "253": 13, "255": 13, "402": 17, "8006": 14, "8017": 18, "8018": 18, "8026": 14}
CHECKED |= {f"41{last}": 13 for last in range(8)}
DATES = {"11", "12", "13", "15", "16", "17", "4324", "4325", "4326", "7003", "7006", "7007", "7011", "8008"}

# What biip's patterns ask for besides the length.
SPECIAL = {"4309": "05000000000501000000", "7250": "19800131", "7251": "198001311030", "7258": "1/2", "8001": "01000001507610"}
SPECIAL |= {"4321": "1", "4322": "1", "4323": "0", "7252": "1"}


def freeze(year):
    """biip asks the machine for the year; the tables must not depend on it."""

    class Frozen(datetime.datetime):
        @classmethod
        def now(cls, tz=None):
            return cls(year, 11, 25, tzinfo=tz)

    elements.dt = SimpleNamespace(datetime=Frozen, date=datetime.date, UTC=datetime.UTC)


def fields(found):
    """What our fields are, from biip's elements."""
    told = {}
    others = []
    for it in found:
        if it.gtin_error or it.sscc_error or it.gln_error:
            return None
        ai, value = it.ai.ai, it.value
        name = {"00": "sscc", "01": "gtin", "02": "content_gtin", "10": "lot", "21": "serial"}.get(ai)
        day = {"11": "produced_on", "15": "best_before", "17": "expires_on"}.get(ai)
        measure = {"310": "net_weight_kg", "311": "net_length_m", "315": "net_volume_l"}.get(ai[:3] if len(ai) == 4 else "")
        if name:
            told[name] = value
        elif day:
            told[day] = it.date.isoformat()
        elif measure:
            told[measure] = float(it.decimal)
        elif ai in ("30", "37"):
            told["count"] = int(value)
        elif ai == "8001":
            width, length, core, winding, splices = (int(part) for part in re.fullmatch(r"(....)(.....)(...)(.)(.)", value).groups())
            told["roll_dimensions"] = {"width_mm": width, "length_m": length, "core_mm": core}
            told["roll_dimensions"]["winding"] = {0: "face_out", 1: "face_in"}.get(winding, "undefined")
            if splices < 9:
                told["roll_dimensions"]["splices"] = splices
        else:
            others.append([ai, value])
    told["others"] = others
    return told


def row(kind, year, scan):
    freeze(year)
    try:
        if kind == "digital_link":
            found = GS1DigitalLinkURI.parse(scan).element_strings
        elif kind == "bracketed":
            found = GS1Message.parse_hri(scan).element_strings
        else:
            found = GS1Message.parse(re.sub(r"^\](C1|d2|Q3|e0)", "", scan)).element_strings
        read = fields(found)
    except biip.ParseError:
        read = None
    return {"kind": kind, "year": year, "scan": scan, "fields": read}


def digits(length):
    return "".join(draw.choice("0123456789") for _ in range(length))


def text(length):
    return "".join(draw.choice(TEXT) for _ in range(length))


def checked(length):
    body = digits(length - 1)
    return body + str(gs1_standard_check_digit(body))


def date():
    return f"{draw.randrange(100):02}{draw.randint(1, 12):02}{draw.randint(0, 28):02}"


def sample(ai, longest):
    """A value of the shortest or the longest form, from biip's notation of it."""
    value = ""
    for part in re.findall(r"\[?(?:[NXYZ]\d*(?:\.\.[NXYZ]?\d+)?|-)\]?", IDENTIFIERS[ai].format.split("+", 1)[1]):
        optional = part.startswith("[")
        if optional and not longest:
            continue
        if "-" in part:
            value += "-"
            continue
        kind, variable, length = re.fullmatch(r"\[?([NXYZ])(?:\d+(?=\.\.))?(\.\.)?[NXYZ]?(\d+)\]?", part).groups()
        length = int(length) if longest or not variable else 1
        value += digits(length) if kind == "N" else "".join(draw.choice("ABCDEFGH23456789") for _ in range(length))
    if ai in CHECKED:
        value = checked(CHECKED[ai]) + value[CHECKED[ai]:]
    if ai in ("8006", "8026"):
        value = value[:14] + "0102"
    if ai == "8003":
        value = "0" + checked(13) + value[14:]
    if ai in DATES:
        # biip 5.2.0 takes a second harvest day for a time of day: there is only one here.
        value = ("270131" + "103059")[: 6 if ai == "7007" else len(value)]
    return SPECIAL.get(ai, value)


left_out = []


def every_identifier():
    for ai, identifier in IDENTIFIERS.items():
        for longest in (False, True):
            value = sample(ai, longest)
            if not re.fullmatch(identifier.pattern, ai + value):
                left_out.append(ai)
                continue
            # What follows shows whether the value ends where it should.
            end = GS if identifier.separator_required else ""
            follows = "91END" if ai != "91" else "92END"
            yield row("identifier", 2026, ai + value + end + follows)


def parts():
    """Identifiers and values of one label, in any order."""
    pallet = draw.random() < 0.2
    found = [("00", checked(18)), ("02", checked(14)), ("37", str(draw.randint(1, 99_999_999)))] if pallet else [("01", checked(14))]
    found.append(("10", text(draw.randint(1, 20))))
    for ai, value in [("11", date()), ("15", date()), ("17", date())]:
        if draw.random() < 0.5:
            found.append((ai, value))
    if draw.random() < 0.4:
        found.append((f"311{draw.randint(0, 5)}", digits(6)))
    if draw.random() < 0.2:
        found.append(("240", text(draw.randint(1, 30))))
    if not pallet:
        if draw.random() < 0.5:
            found.append(("21", text(draw.randint(1, 20))))
        if draw.random() < 0.2:
            found.append(("30", digits(draw.randint(1, 8))))
        if draw.random() < 0.4:
            roll = f"{draw.randint(1, 9999):04}{draw.randint(1, 99999):05}{draw.randint(1, 999):03}{draw.choice('019')}{draw.randint(0, 9)}"
            found.append(("8001", roll))
    draw.shuffle(found)
    return found


def element_string(found):
    last = len(found) - 1
    return "".join(
        ai + value + (GS if IDENTIFIERS[ai].separator_required and place < last else "")
        for place, (ai, value) in enumerate(found)
    )


def year():
    return draw.choice([2026, 2026, 2026, 2000, 2049, 2050, 2051, 2099, 2100])


def mutated(scan):
    at = draw.randrange(len(scan))
    how = draw.randrange(4)
    other = draw.choice("0123456789" * 4 + TEXT + GS + "#@ ")
    if how == 0:
        return scan[:at] + scan[at + 1 :]
    if how == 1:
        return scan[:at] + other + scan[at:]
    if how == 2:
        return scan[:at] + other + scan[at + 1 :]
    return scan[:at] + scan[at : at + 2][::-1] + scan[at + 2 :]


def without_brackets(found):
    """In the printed form a text with brackets is read otherwise by everybody."""
    return [(ai, re.sub(r"[()]", "-", value)) for ai, value in found]


def everything():
    yield from every_identifier()
    for _ in range(600):
        prefix = draw.choice(["", "", "]C1", "]d2", "]Q3", "]e0"])
        yield row("label", year(), prefix + element_string(parts()))
    for _ in range(1500):
        yield row("mutated", 2026, mutated(element_string(parts())))
    for _ in range(200):
        yield row("bracketed", year(), "".join(f"({ai}){value}" for ai, value in without_brackets(parts())))
    for _ in range(200):
        found = sorted((it for it in parts() if it[0] not in ("02", "37")), key=lambda it: it[0] not in ("00", "01"))
        if found[0][0] == "00":
            found = [it for it in found if it[0] in ("00", "3102")]
        message = GS1Message.parse(element_string(found))
        yield row("digital_link", year(), message.as_gs1_digital_link_uri().as_uri(domain="id.example", prefix=draw.choice([None, "some/where"])))


rows = list(everything())
freeze(2026)
with open(table.TABLES / "gs1_labels.jsonl", "w") as file:
    made_with = table.versions("biip")
    file.write(f"# Scans and what biip reads in them; null where it refuses. Script: tests/reference/gs1_labels.py; made with {made_with}.\n")
    for it in rows:
        file.write(json.dumps(it, separators=(",", ":")) + "\n")
print("gs1_labels.jsonl", len(rows), "rows; left out:", left_out)
