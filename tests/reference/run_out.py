"""When stock runs out: 400 random cases played day by day with plain loops.

One JSON object a line: "case" is the question, "answer" the answer. All quantities are multiples of a
quarter, so that sums are exact in any order. The rules, in words:

- the deliveries of a day arrive before its demand;
- a quantity may be used up to and including its last day; one without a last day is used after all
  others; among equals the order given decides, lots before deliveries;
- what cannot be met is the shortage of that day and is not asked for again;
- what is left at the end of its last day, if that day lies within the days looked at, has expired
  unused, and is no longer on hand;
- what had expired before the first day is neither usable nor listed.
"""

import datetime
import json
import random

from table import TABLES

DAY = datetime.timedelta(days=1)


def play(case):
    first = datetime.date.fromisoformat(case["start_on"])
    shelf = []  # [last day or "9999", order given, quantity, label]
    for order, lot in enumerate(case["lots"]):
        shelf.append([lot["expires_on"] or "9999", order, lot["quantity"], {"lot": lot["lot"]}])
    on_hand, thrown, short_days, shortage = [], [], [], 0.0
    for number in range(case["days"]):
        today = str(first + number * DAY)
        for index, it in enumerate(case["deliveries"]):
            if it["on"] == today:
                order = len(case["lots"]) + index
                shelf.append([it["expires_on"] or "9999", order, it["quantity"], {"delivery": index}])
        wanted = case["demand"][number] if number < len(case["demand"]) else 0.0
        while wanted > 0:
            usable = [it for it in shelf if it[0] >= today and it[2] > 0]
            if not usable:
                break
            best = min(usable, key=lambda it: (it[0], it[1]))
            taken = min(best[2], wanted)
            best[2] -= taken
            wanted -= taken
        if wanted > 0:
            short_days.append(number)
            shortage += wanted
        for it in shelf:
            if it[0] == today and it[2] > 0:
                thrown.append({**it[3], "expires_on": today, "quantity": it[2]})
                it[2] = 0.0
        on_hand.append(sum(it[2] for it in shelf if it[0] > today))
    out = first + short_days[0] * DAY if short_days else None
    back = case["lead_time_days"] + case["safety_days"]
    return {
        "run_out_on": out and str(out),
        "days_of_cover": short_days[0] if short_days else case["days"],
        "shortage": shortage,
        "order_by": out and str(out - back * DAY),
        "expiring_unused": thrown,
        "on_hand": on_hand,
    }


def quarter(draw, high):
    return draw.randint(0, high * 4) / 4


def invent(draw):
    # Some spans cross a leap day, a month's end or a year's end.
    first = draw.choice([datetime.date(2027, 12, 20), datetime.date(2028, 2, 20), datetime.date(2027, 6, 1)])
    first += draw.randint(0, 15) * DAY
    days = draw.randint(1, 40)

    def last(earliest):
        if draw.random() < 0.25:
            return None
        return str(first + draw.randint(earliest, days + 5) * DAY)

    lots = [
        {"lot": f"L{it}", "quantity": quarter(draw, 40), "expires_on": last(-2)}
        for it in range(draw.randint(0, 6))
    ]
    deliveries = []
    for _ in range(draw.randint(0, 5)):
        arrives = draw.randint(0, days + 2)
        on = str(first + arrives * DAY)
        deliveries.append({"on": on, "quantity": quarter(draw, 30), "expires_on": last(min(arrives, days + 5))})
    demand = [quarter(draw, draw.choice([2, 5, 9])) for _ in range(draw.randint(0, days))]
    return {
        "start_on": str(first),
        "days": days,
        "lots": lots,
        "deliveries": deliveries,
        "demand": demand,
        "lead_time_days": draw.choice([0, 3, 14, 60]),
        "safety_days": draw.choice([0, 0, 7]),
    }


draw = random.Random(366)
cases = [invent(draw) for _ in range(400)]
with open(TABLES / "run_out.jsonl", "w") as file:
    for case in cases:
        file.write(json.dumps({"case": case, "answer": play(case)}, separators=(",", ":")) + "\n")
answers = [play(it) for it in cases]
print("run_out.jsonl", len(cases), "cases;", sum(it["run_out_on"] is not None for it in answers), "run out;")
print(sum(bool(it["expiring_unused"]) for it in answers), "let something expire")
