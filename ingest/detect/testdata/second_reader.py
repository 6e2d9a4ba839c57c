"""Reads feed documents by the standard library alone and prints, for each file,
its values as text with the moment they stand at: seconds since 1970 where the
document says the zone, else null. It knows nothing of units, names or quality."""
import datetime
import json
import sys
import xml.etree.ElementTree as tree


def moment(text):
    try:
        t = datetime.datetime.fromisoformat(str(text).strip().replace("Z", "+00:00"))
    except ValueError:
        return None
    return t.timestamp() if t.tzinfo else None


def local(node):
    return node.tag.rsplit("}", 1)[-1]


def of_xml(root):
    for n in root.iter():
        if local(n) == "MeasurementTVP":
            at = [k.text for k in n if local(k) == "time"]
            for v in (k.text for k in n if local(k) == "value"):
                yield (at + [None])[0], v
        if local(n) == "value" and "waterML" in n.tag and n.text:
            yield n.get("dateTimeUTC", "") + "Z" if n.get("dateTimeUTC") else n.get("dateTime", "") + n.get("timeOffset", ""), n.text
        if local(n).endswith("Observation"):
            result = [k for k in n if local(k) == "result" and k.text and k.text.strip()]
            times = [k.text for k in n.iter() if local(k) == "timePosition"]
            for r in result:
                yield (times + [None])[0], r.text


def of_json(d):
    if isinstance(d, list):
        for x in d:
            yield from of_json(x)
    if not isinstance(d, dict):
        return
    if "result" in d and "phenomenonTime" in d:
        yield d["phenomenonTime"], d["result"]
    if "dateTime" in d and "value" in d:
        yield d["dateTime"], d["value"]
    p = d.get("properties")
    if isinstance(p, dict):
        for key in ("value", "LEVEL", "DISCHARGE"):
            if key in p:
                yield p.get("time") or p.get("DATETIME"), p[key]
    axes = d.get("domain", {}).get("axes", {}) if isinstance(d.get("domain"), dict) else {}
    for r in d.get("ranges", {}).values():
        at = axes.get("t", {}).get("values", [])
        for i, v in enumerate(r.get("values", [])):
            yield at[i] if len(at) == len(r["values"]) else None, v
    for k, v in d.items():
        if k not in ("properties", "ranges", "domain"):
            yield from of_json(v)


for path in sys.argv[1:]:
    body = open(path, "rb").read().decode("utf-8-sig", "replace")
    try:
        pairs = of_json(json.loads(body, parse_float=str, parse_int=str)) if body.lstrip()[:1] in "{[" else of_xml(tree.fromstring(body.encode()))
        rows = [[moment(at), str(v).strip()] for at, v in pairs if v is not None]
    except (ValueError, tree.ParseError):
        rows = []
    print(json.dumps({"file": path, "rows": rows}))
