"""Joins measured frames per second with the specs of the same cards, for a report.

    python3 tests/frames.py target/test-data

Reads cards.json and package/dist/benchmarks/d-*.json of that directory (tests/data.sh puts both
there) and writes detect_gpu.csv (card, fps: every desktop entry at 1920x1080) and frames.csv (one
row a card whose name and specs are known and whose result no display cut off). Both hold other
people's data, so neither is ever part of this repository.
"""

import csv
import json
import re
import statistics
import sys
from pathlib import Path

# Where a display stops the count. A result one below is the same stop, averaged.
DISPLAY_CAPS = (30, 60, 75, 90, 100, 120, 144, 165, 240)
SPECS = {
    "memory_gb": "memory_size_gb",
    "fp32_gflops": "single_float_performance_gflop_s",
    "bandwidth_gb_s": "memory_bandwidth_gb_s",
    "clock_mhz": "boost_clock_mhz",
    "base_clock_mhz": "base_clock_mhz",
    "memory_clock_mhz": "memory_clock_mhz",
    "bus_bits": "memory_bus_bits",
    "shaders": "shading_units",
    "pixel_gpix_s": "pixel_rate_gpixel_s",
    "texture_gtex_s": "texture_rate_gtexel_s",
}


def plain(name):
    """A name without case, spaces and punctuation, as the two lists differ in these."""
    return re.sub(r"[^a-z0-9]", "", name.lower())


def measured(directory):
    """Every desktop entry at 1920x1080, as (card, frames per second)."""
    for path in sorted(directory.glob("package/dist/benchmarks/d-*.json")):
        _version, *entries = json.loads(path.read_text())
        for name, _number, _sorted_words, _is_blocked, results in entries:
            for width, height, fps in results:
                if (width, height) == (1920, 1080) and fps > 0:
                    yield name, fps


def cards_by_name(directory):
    """The cards by name with and without its maker's; None where two cards share one."""
    cards = {}
    for card in json.loads((directory / "cards.json").read_text()):
        for key in {plain(card["manufacturer"] + card["name"]), plain(card["name"])}:
            cards[key] = None if key in cards else card
    return cards


def joined(results, cards):
    """The rows of frames.csv: the median of a card's results that no display cut off."""
    by_card = {}
    for name, fps in results:
        card = cards.get(plain(name))
        is_capped = fps in DISPLAY_CAPS or fps + 1 in DISPLAY_CAPS
        if card and not is_capped and all(card[field] for field in SPECS.values()):
            label = f"{card['manufacturer']} {card['name']}"
            by_card.setdefault(label, (card, []))[1].append(fps)
    for label, (card, each) in sorted(by_card.items()):
        yield [label, statistics.median(each), *(card[field] for field in SPECS.values())]


def write(path, header, rows):
    with path.open("w", newline="") as file:
        writer = csv.writer(file, lineterminator="\n")
        writer.writerow(header)
        writer.writerows(rows)


def main():
    directory = Path(sys.argv[1])
    results = list(measured(directory))
    write(directory / "detect_gpu.csv", ["card", "fps"], results)
    rows = joined(results, cards_by_name(directory))
    write(directory / "frames.csv", ["card", "fps", *SPECS], rows)


if __name__ == "__main__":
    main()
