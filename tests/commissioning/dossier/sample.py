"""Made-up frozen content for the tests of the dossier: any number of systems, rows and photos, always the same."""

from __future__ import annotations

import hashlib
import io
import math
from collections.abc import Iterator
from functools import cache, lru_cache
from pathlib import Path
from typing import Any

import numpy
from PIL import Image
from reportlab.pdfbase import pdfmetrics
from reportlab.pdfbase.ttfonts import TTFont
from reportlab.pdfgen.canvas import Canvas

SITES = ("Quillmarsh Pumping Station", "Tarnholt Treatment Works", "Vexley Outfall")
PEOPLE = ("Ada Fennimore", "Bram Okonwy", "Cass Tilderley", "Dov Marrick")
VERDICTS = ("accept", "accept", "accept", "accept_within_guard_band", "reject_within_guard_band", "reject")
STATES = (("accepted", "accepted", "in_hand", "not_started"), ("accepted", "accepted", "accepted", "held"))
STAGES = (
    ("mechanical_completion", "Mechanical completion", "Mech."),
    ("pre_energisation", "Pre-energisation", "Pre-en."),
    ("energisation", "Energisation", "Energ."),
    ("battery_connected", "Battery-connected", "Battery"),
)


def sha(text: str) -> str:
    """A hash that stands for something signed."""
    return hashlib.sha256(text.encode()).hexdigest()


def reading(ref: str, number: int, tag: str) -> dict[str, Any]:
    """A float voltage with its verdict and working."""
    verdict = VERDICTS[number % len(VERDICTS)]
    value = {
        "accept": 122.70,
        "accept_within_guard_band": 123.80,
        "reject_within_guard_band": 123.98,
        "reject": 124.60,
    }[verdict]
    value = round(value + (number % 7) * 0.01, 2)
    return {
        "ref": ref,
        "label": f"Float voltage at the battery terminals, string {number % 4 + 1}",
        "tag": tag,
        "inputs": [
            {"name": "measured", "text": f"{value:.2f}", "unit": "V"},
            {"name": "temperature", "text": "20.5", "unit": "°C"},
        ],
        "value": value,
        "text": f"{value:.2f}",
        "unit": "V",
        "expanded_uncertainty": 0.1286,
        "uncertainty_text": "0.13",
        "limits": {
            "lower": 121.5,
            "upper": 123.9,
            "lower_text": "121.50",
            "upper_text": "123.90",
            "source": "maker's manual, typical value, verify",
        },
        "verdict": verdict,
        "conformity_probability": 0.97725,
        "working": [
            {
                "formula": "U = N·(Vref + k·(T − Tref))",
                "substituted": "54·(2.27 + (−0.003)·(20.5 − 20))",
                "result": "122.50 V",
            },
            {
                "formula": "Δ = 100·(Um − U)/U",
                "substituted": f"100·({value:.2f} − 122.50)/122.50",
                "result": f"{100 * (value - 122.5) / 122.5:.3f} %",
            },
        ],
        "cautions": ["A battery is never dead: its terminals stay live."] if number % 10 == 0 else [],
        "calculation": "float_voltage",
        "edition": "1",
        "instrument": f"DMM-{number % 6:03}",
        "taken_at": f"2031-03-{number % 27 + 1:02}T09:{number % 60:02}:00+00:00",
        "by": PEOPLE[number % 4],
    }


def punch(ref: str, number: int, tag: str) -> dict[str, Any]:
    """A punch item."""
    return {
        "ref": ref,
        "tag": tag,
        "category": "ABC"[number % 3],
        "text": f"Cable gland {number % 40} is loose; tighten to the maker's torque and mark it",
        "raised": f"2031-02-{number % 27 + 1:02}T08:00:00+00:00",
        "by": PEOPLE[number % 4],
        "state": "closed" if number % 4 else "open",
        "strong": number % 12 == 0,
    }


PUNCH_COLUMNS = [
    {"key": "ref", "title": "No.", "share": 1.3, "kind": "tag"},
    {"key": "category", "title": "Cat.", "share": 0.6, "kind": "text"},
    {"key": "tag", "title": "Tag", "share": 2.2, "kind": "tag"},
    {"key": "text", "title": "What", "share": 6, "kind": "text"},
    {"key": "raised", "title": "Raised", "share": 2.2, "kind": "time"},
    {"key": "by", "title": "By", "share": 1.8, "kind": "text"},
    {"key": "state", "title": "State", "share": 1, "kind": "text"},
]


def system(number: int, *, punches: int, readings: int, photos: int, plots: int, points: int) -> dict[str, Any]:
    """One system with all its lists."""
    tag = f"+QPS{number:02}=BAT{number:03}"
    rows = [punch(f"P-{number:03}-{n:04}", n, tag) for n in range(punches)]
    return {
        "id": f"s{number}",
        "site": SITES[number % 3],
        "tag": tag,
        "name": f"125 V NiCd switchgear supply {number}",
        "kind": "DC power system with NiCd battery",
        "time_zone": "Europe/London",
        "supply_state": "LIVE" if number % 2 else "recorded isolated - prove dead at the point of work",
        "supply_caution": "A battery is never dead: isolated means links or fuses open; its terminals stay live.",
        "nameplate": [{"label": "Nominal voltage", "value": "125 V DC"}, {"label": "Capacity", "value": "320 Ah (C5)"}],
        "equipment": [{"tag": f"{tag}-QB{n}", "name": f"Charger {n}", "serial": f"SN{number}{n}"} for n in range(1, 4)],
        "stages": list(_stages(number, tag, readings)),
        "signals": [_signal(number, n, tag) for n in range(4)],
        "alarms": [_alarm(number, n, tag) for n in range(3)],
        "supplies": [
            {
                "tag": f"{tag}-Q1",
                "name": "Mains incomer",
                "state": "LIVE",
                "lock_number": "",
                "by": PEOPLE[0],
                "at": "2031-03-01T08:00:00+00:00",
            },
            {
                "tag": f"{tag}-F1",
                "name": "Battery fuses",
                "state": "recorded isolated",
                "lock_number": "L-204",
                "by": PEOPLE[1],
                "at": "2031-03-01T08:10:00+00:00",
                "note": "Fuses open; terminals stay live.",
            },
        ],
        "supply_log": [
            {
                "at": "2031-03-01T08:00:00+00:00",
                "supply": f"{tag}-Q1",
                "what": "released under PTE-7",
                "lock_number": "L-203",
                "by": PEOPLE[0],
            }
        ],
        "permissions": [
            {
                "ref": "PTE-7",
                "supplies": [f"{tag}-Q1"],
                "valid_from": "2031-03-01T07:30:00+00:00",
                "valid_until": "2031-03-01T17:30:00+00:00",
                "name": PEOPLE[2],
                "role": "authorised person",
                "ending": "lapsed at its end",
                "hash": sha("pte"),
            }
        ],
        "as_left": [
            {
                "tag": f"{tag}-QB1",
                "setting": "Float voltage",
                "value": "122.70",
                "unit": "V",
                "specified": "122.70",
                "at": "2031-03-04T10:00:00+00:00",
                "by": PEOPLE[0],
            }
        ],
        "recordings": [recording(number, n, tag, points) for n in range(plots)],
        "photos": [photo(number, n, tag) for n in range(photos)],
        "sections": {
            "punch_list": {
                "key": "punch",
                "title": "Punch list",
                "columns": PUNCH_COLUMNS,
                "groups": [
                    {
                        "title": "Carried over",
                        "empty": "Nothing is carried over.",
                        "rows": [r for r in rows if r["state"] != "closed"],
                    },
                    {
                        "title": "Closed",
                        "empty": "No item was closed.",
                        "rows": [r for r in rows if r["state"] == "closed"],
                    },
                ],
            }
        },
    }


def _stages(number: int, tag: str, readings: int) -> Iterator[dict[str, Any]]:
    made = 0
    for order, (kind, name, short) in enumerate(STAGES):
        share = readings * (order + 1) // 4 - readings * order // 4
        state = STATES[number % 2][order]
        accepted = state == "accepted"
        records = []
        for check in range(5):
            count = share * (check + 1) // 5 - share * check // 5
            own = [reading(f"R-{number:03}-{made + n:04}", made + n, tag) for n in range(count)]
            made += count
            records.append(_record(number, order, check, tag, own))
        yield {
            "kind": kind,
            "name": name,
            "short": short,
            "state": state,
            "statement": f"Accepted under procedure NICD-125, edition 3, for {tag}." if accepted else "",
            "acceptances": [
                {
                    "name": PEOPLE[order % 4],
                    "role": "client's witness",
                    "at": "2031-03-05T16:00:00+00:00",
                    "hash": sha(f"{number}{kind}"),
                }
            ]
            if accepted
            else [],
            "check_records": records,
            "concessions": [
                {
                    "ref": f"C-{number:03}",
                    "what": f"R-{number:03}-0005 above its limit",
                    "reason": "Agreed with the maker until the cells are formed.",
                    "name": PEOPLE[3],
                    "role": "project manager",
                    "at": "2031-03-05T12:00:00+00:00",
                    "hash": sha("c"),
                }
            ]
            if order == 1
            else [],
        }


def _record(number: int, order: int, check: int, tag: str, readings: list[dict[str, Any]]) -> dict[str, Any]:
    record = {
        "ref": f"K-{number:03}-{order}{check}",
        "order": order * 10 + check + 1,
        "key": f"check-{order}{check}",
        "title": "Measure the float voltage at the battery terminals with no load on the charger; compare it",
        "result": ("passed", "passed", "not_applicable", "passed", "failed")[check],
        "reason": "No such link." if check == 2 else "",
        "by": {"name": PEOPLE[check % 4], "role": "field engineer"},
        "at": "2031-03-02T10:00:00+00:00",
        "point": ("hold", "", "witness", "", "")[check],
        "tag": tag,
        "readings": readings,
    }
    if check == 0:
        record["witnesses"] = [{"name": PEOPLE[2], "role": "client", "at": "2031-03-02T10:05:00+00:00"}]
    if check == 1:
        record["proof_of_dead"] = {"by": PEOPLE[0], "at": "2031-03-02T09:55:00+00:00", "detector": "VD-11"}
    return record


def _signal(number: int, n: int, tag: str) -> dict[str, Any]:
    deed = {"at": f"2031-03-04T11:0{n}:00+00:00", "by": PEOPLE[2]}
    return {
        "ref": f"DI-{number:03}-{n}",
        "tag": f"{tag}-QB1",
        "meaning": "Charger common fault",
        "source": "relay K4",
        "target": "control system rack 2, input 14",
        "forced": {"what": "contact bridged at X3:11-12", **deed},
        "seen": {"what": "FAULT shown on screen 4", **deed} if n else None,
        "restored": {"what": "bridge removed", **deed},
        "state": "proved" if n else "not proved",
    }


def _alarm(number: int, n: int, tag: str) -> dict[str, Any]:
    return {
        "ref": f"AL-{number:03}-{n}",
        "tag": tag,
        "alarm": "Earth fault on the DC system",
        "seen_at": "2031-03-04T12:00:00+00:00",
        "by": PEOPLE[1],
        "state": ("explained", "expected", "genuine")[n],
        "ending": "Caused by the test resistor of the insulation test; removed.",
        "cleared_at": "2031-03-04T12:20:00+00:00",
    }


def recording(number: int, n: int, tag: str, points: int) -> dict[str, Any]:
    """A synthetic discharge with one weak cell."""
    times = [i * 300 / max(points - 1, 1) for i in range(points)]
    string = [round(118 - 0.03 * t - 6 * math.exp((t - 300) / 25), 3) for t in times]
    cells = [
        {
            "name": f"cell {c}",
            "weak": c == 7,
            "values": [
                round(v / 92 - (0.06 * t / 300 if c == 7 else 0.002 * c), 4) for v, t in zip(string, times, strict=True)
            ],
        }
        for c in range(1, 9)
    ]
    return {
        "ref": f"T-{number:03}-{n}",
        "tag": tag,
        "title": "Discharge at the 5 h rate (synthetic log)",
        "started_at": "2031-03-06T08:00:00+00:00",
        "by": PEOPLE[0],
        "instrument": "LOG-001",
        "file_name": "discharge.csv",
        "file_sha256": sha("log"),
        "note": "Synthetic log, made for this test.",
        "results": [
            {
                "name": "Capacity",
                "text": "93.3",
                "unit": "%",
                "verdict_words": "accept",
                "limit": "≥ 90 % (IEEE 1106, memory: typical value, verify)",
            }
        ],
        "plots": [
            {
                "title": "String voltage",
                "unit": "V",
                "time_unit": "min",
                "times": times,
                "series": [{"name": "string", "values": string}],
                "levels": [{"value": 92.0, "name": "end voltage 92 V"}],
            },
            {
                "title": "Cell voltages",
                "unit": "V",
                "time_unit": "min",
                "times": times,
                "series": cells,
                "levels": [{"value": 1.0, "name": "end voltage 1.00 V"}],
            },
        ],
    }


PHOTO_SIZE = (1600, 1200)


@lru_cache(maxsize=16)
def jpeg(number: int, size: tuple[int, int] = PHOTO_SIZE) -> bytes:
    """A photo that no other number gives."""
    grain = numpy.random.default_rng(number).integers(0, 255, (size[1] // 2, size[0] // 2, 3), dtype=numpy.uint8)
    ground = Image.radial_gradient("L").resize(size).convert("RGB")
    image = Image.blend(ground, Image.fromarray(grain).resize(size), 0.12)
    image.paste(((number * 37) % 256, (number * 91) % 256, 90), (40, 40, 400, 300))
    buffer = io.BytesIO()
    image.save(buffer, "JPEG", quality=82)
    return buffer.getvalue()


@cache
def jpeg_sha256(number: int) -> str:
    """SHA-256 of a photo."""
    return hashlib.sha256(jpeg(number)).hexdigest()


def photo(number: int, n: int, tag: str) -> dict[str, Any]:
    """A photo's entry."""
    return {
        "ref": f"F-{number:03}-{n}",
        "sha256": jpeg_sha256(number * 10 + n),
        "width": PHOTO_SIZE[0],
        "height": PHOTO_SIZE[1],
        "tag": tag,
        "by": PEOPLE[n % 4],
        "caption": f"Battery rack {n + 1} with links fitted, insulating covers on",
        "taken_at": "2031-03-02T10:00:00+00:00",
    }


@cache
def certificate(serial: str, pages: int = 2) -> bytes:
    """A calibration certificate as a PDF."""
    buffer = io.BytesIO()
    pdfmetrics.registerFont(TTFont("Vera", "Vera.ttf"))
    canvas = Canvas(buffer, invariant=1, initialFontName="Vera")
    for page in range(pages):
        canvas.setFont("Vera", 14)
        canvas.drawString(72, 720, f"Calibration certificate of {serial}, sheet {page + 1} (made up)")
        canvas.showPage()
    canvas.save()
    return buffer.getvalue()


def instrument(n: int) -> dict[str, Any]:
    """An instrument with its certificate."""
    serial = f"DMM-{n:03}"
    return {
        "serial": serial,
        "name": "Digital multimeter",
        "accuracy": "±(0.05 % + 5) of 0.01 V",
        "calibrated_on": "2030-11-01",
        "calibration_due": "2031-11-01",
        "certificate_number": f"CC-{n:04}",
        "used_from": "2031-03-01",
        "used_to": "2031-03-27",
        "in_calibration": n != 5,
        "certificates": [{"sha256": hashlib.sha256(certificate(serial)).hexdigest(), "name": f"{serial}.pdf"}]
        if n < 3
        else [],
    }


def head(systems: int, **changes: Any) -> dict[str, Any]:
    """Everything of the content but its systems."""
    content = {
        "schema_version": 1,
        "paper": "A4",
        "language": "en-GB",
        "title": "DC supplies of Quillmarsh, Tarnholt and Vexley",
        "state": "complete",
        "number": "OMB-HD-0007",
        "revision": "B",
        "issued_at": "2031-04-01T12:00:00+00:00",
        "requested_by": {"name": "Dov Marrick", "role": "project manager"},
        "url": "https://tracker.example/dossiers/OMB-HD-0007/B/",
        "project": {"code": "OMB-31", "name": "Ombrefell Water DC supplies", "client": "Ombrefell Water"},
        "scope": {
            "kind": "project",
            "name": "Ombrefell Water DC supplies",
            "stages": [s[0] for s in STAGES],
            "words": f"The whole project: {systems} systems, all stages",
        },
        "revisions": [
            {
                "revision": "A",
                "issued_at": "2031-03-20T12:00:00+00:00",
                "state": "interim",
                "by": "Dov Marrick",
                "reason": "First issue for review",
                "content_sha256": sha("A"),
            },
            {
                "revision": "B",
                "issued_at": "2031-04-01T12:00:00+00:00",
                "state": "interim",
                "by": "Dov Marrick",
                "reason": "Capacity tests added",
                "content_sha256": "",
            },
        ],
        "previous": {"revision": "A", "content_sha256": sha("A")},
        "changes": [{"where": "+QPS00=BAT000, readings", "kind": "added", "after": "R-000-0003, 122.73 V, accept"}],
        "missing": [
            {
                "system": "s0",
                "tag": "+QPS00=BAT000",
                "where": "Battery-connected",
                "text": "The stage is not accepted: no acceptance is recorded.",
            }
        ],
        "instruments": [instrument(n) for n in range(6)],
        "audit_extract": {
            "head_hash": sha("head"),
            "entries": [
                {
                    "seq": n,
                    "at": "2031-03-05T16:00:00+00:00",
                    "by": PEOPLE[n % 4],
                    "action": "accepted stage",
                    "object": "+QPS00=BAT000 mechanical completion",
                    "hash": sha(f"audit {n}"),
                }
                for n in range(12)
            ],
        },
        "sources": [
            {
                "calculation": "float_voltage",
                "edition": "1",
                "title": "U = N·(Vref + k·(T − Tref))",
                "source": "maker's manual; reference temperature 20 °C",
                "kind": "memory: typical value, verify",
            }
        ],
        "glossary": [
            {
                "term": "guard band",
                "meaning": "The strip inside a limit that is as wide as the uncertainty of the measurement.",
                "source": "JCGM 106:2012",
            }
        ],
    }
    return {**content, **changes}


def content(
    systems: int = 2,
    *,
    punches: int = 12,
    readings: int = 24,
    photos: int = 2,
    plots: int = 1,
    points: int = 60,
    **changes: Any,
) -> dict[str, Any]:
    """A whole content."""
    made = [
        system(n, punches=punches, readings=readings, photos=photos, plots=plots, points=points) for n in range(systems)
    ]
    return {**head(systems, **changes), "systems": made}


def files_for(content: Any, folder: Path) -> Any:
    """Write every photo and certificate that the content names; returns the function that finds them."""
    folder.mkdir(parents=True, exist_ok=True)
    for number in range(len(content["systems"])):
        for n in range(len(content["systems"][number].get("photos", []))):
            (folder / jpeg_sha256(number * 10 + n)).write_bytes(jpeg(number * 10 + n))
    for n in range(3):
        data = certificate(f"DMM-{n:03}")
        (folder / hashlib.sha256(data).hexdigest()).write_bytes(data)
    return lambda digest: folder / digest


SCRIPTS = [
    {"tag": "=مضخة-Q1", "name": "قاطع المضخة الرئيسي 125 V", "serial": "AR-1"},
    {"tag": "=משאבה-Q2", "name": "מפסק ראשי (125 V)", "serial": "HE-2"},
    {"tag": "=水泵站-Q3", "name": "配電盤 배전반 分電盤", "serial": "CJ-3"},
    {"tag": "=ΔU-Ω4", "name": "μΩ link, → ✓ ∛x, 10⁻³, ≤ 5 %", "serial": "SY-4"},
]
