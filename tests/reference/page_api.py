"""Writes a configuration for schemathesis that knows what the daemon at ADDRESS has.

python page_api.py ADDRESS FILE: without it nearly every question would be about a brief or a part that
does not exist. A fifth of the values stay made up.
"""

import json
import sys
import urllib.request

address, file = sys.argv[1:]


def ask(path):
    with urllib.request.urlopen(address + "api/v1/" + path) as answer:
        return json.load(answer)


overview = ask("overview")
brief = overview["briefs"][0]["brief"]
page = ask("briefs/" + brief)
feeds = [line["feed"].split("/") for line in ask("feeds")["feeds"]]
parts = [line["part"] for line in ask("parts")["parts"]]
roles = [role["role"] for role in page["roles"]]
picks = {pick["role"]: pick["part"] for pick in page["picks"]}
held = ask("held")
outbox = ask("outbox?state=all")["deliveries"]
queue = ask("questions")["queue"]
print(
    f"{len(overview['briefs'])} briefs, {len(parts)} parts, {len(feeds)} feeds, {len(held)} held,"
    f" {len(outbox)} deliveries, {len(queue)} questions"
)
assert parts and feeds and roles and picks, "the daemon shows too little to ask about"

known = {
    "path.brief": [line["brief"] for line in overview["briefs"]],
    "path.part": parts,
    "path.retailer": [retailer for retailer, _ in feeds],
    "path.feed": [feed for _, feed in feeds],
    "query.role": roles,
    "query.form": ["markdown", "html", "text", "csv", "json"],
    "query.kind": sorted({kind["kind"] for kind in ask("parts")["kinds"]}),
    "query.budget": ["700", "910.40", "1500.00"],
    "query.state": ["waiting", "sent", "dead", "dropped", "all"],
    "query.since": ["2026-01-01"],
}
lines = []
for number, (name, values) in enumerate(known.items()):
    lines.append(f"[dictionaries.d{number}]\nvalues = {json.dumps(values)}\n")
lines.append("[parameters]")
for number, name in enumerate(known):
    lines.append(f'"{name}" = {{ dictionary = "d{number}", probability = 0.8 }}')
with open(file, "w") as config:
    config.write("\n".join(lines) + "\n")
