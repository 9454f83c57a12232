"""What two libraries read in calendar files: python3-icalendar and python3-vobject, as Debian has them.

    readcalendars.py FILE...

Prints JSON: for each file and each library the name of the calendar and its events. Days are Python's own dates; where a title holds a date, "after"
is how many days after it the event begins.
"""

import datetime
import json
import re
import sys

import icalendar
import vobject


def after(summary, start):
    found = re.search(r"\d{4}-\d{2}-\d{2}", summary)
    return (start - datetime.date.fromisoformat(found[0])).days if found else None


def event(uid, summary, description, start, end, sequence, stamp, modified, kinds, rest):
    whole = all(type(day) is datetime.date for day in (start, end))
    return {
        "uid": uid, "summary": summary, "description": description, "from": str(start), "until": str(end), "whole": whole, "after": after(summary, start),
        "sequence": int(sequence), "stamp": stamp.isoformat(), "modified": modified.isoformat(), "kinds": kinds, "rest": rest,
    }


def by_icalendar(text):
    calendar = icalendar.Calendar.from_ical(text)
    events = []
    for e in calendar.walk("VEVENT"):
        if e.errors:
            raise SystemExit(f"icalendar: {e.errors}")
        kinds = e["CATEGORIES"] if isinstance(e["CATEGORIES"], list) else [e["CATEGORIES"]]
        events.append(event(
            str(e["UID"]), str(e["SUMMARY"]), str(e["DESCRIPTION"]), e.decoded("DTSTART"), e.decoded("DTEND"), e["SEQUENCE"],
            e.decoded("DTSTAMP"), e.decoded("LAST-MODIFIED"), [str(c) for k in kinds for c in k.cats], [str(e["STATUS"]), str(e["TRANSP"]), len(e.subcomponents)],
        ))
    return {"name": str(calendar["NAME"]), "refresh": str(calendar["REFRESH-INTERVAL"]), "events": events}


def by_vobject(text):
    calendar = vobject.readOne(text.decode("utf-8"))
    events = []
    for e in getattr(calendar, "vevent_list", []):
        events.append(event(
            e.uid.value, e.summary.value, e.description.value, e.dtstart.value, e.dtend.value, e.sequence.value, e.dtstamp.value, e.last_modified.value,
            [c for k in e.categories_list for c in k.value], [e.status.value, e.transp.value, len(list(e.components()))],
        ))
    return {"name": calendar.name_list[0].value if hasattr(calendar, "name_list") else calendar.contents["name"][0].value,
            "refresh": calendar.contents["refresh-interval"][0].value, "events": events}


read = []
for file in sys.argv[1:]:
    with open(file, "rb") as f:
        content = f.read()
    read.append({"icalendar": by_icalendar(content), "vobject": by_vobject(content)})
print(json.dumps(read))
