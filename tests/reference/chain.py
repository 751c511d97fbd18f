"""The digests of an exported collection, computed from the files of its data package alone.

Written from docs/formats.md ("The chain of digests") with hashlib and struct; shares nothing with the
crate. Usage: python3 chain.py PACKAGE; prints a line for each revision: its number and its digest.
"""

import csv
import hashlib
import os
import struct
import sys

STATES = ["factory", "worn", "reworked", "replaced", "unknown"]
UNITS = ["mm", "cm", "in", "g", "oz", "deg", "1"]
CIRCUMSTANCE = ["instrument", "measured_by", "measured_on", "source", "note"]


class Digest:
    def __init__(self):
        self.sha = hashlib.sha256()

    def text(self, text):
        data = text.encode("utf-8")
        self.sha.update(b"t" + struct.pack("<Q", len(data)) + data)

    def integer(self, number):
        self.sha.update(b"i" + struct.pack("<q", int(number)))

    def real(self, value):
        self.sha.update(b"f" + struct.pack("<d", float(value) + 0.0))

    def mark(self, mark):
        self.sha.update(mark)

    def real_or_nothing(self, text):
        if text == "":
            self.mark(b"n")
        else:
            self.real(text)

    def circumstance(self, row):
        said = [row[column] for column in CIRCUMSTANCE]
        if not any(said):
            self.mark(b"n")
            return
        self.mark(b"c")
        for text in said:
            self.text(text)

    def hex(self):
        return self.sha.hexdigest()


def rows(folder, name):
    path = os.path.join(folder, name + ".csv")
    if not os.path.exists(path):
        return []
    with open(path, encoding="utf-8", newline="") as file:
        return list(csv.DictReader(file))


def main(folder):
    csv.field_size_limit(1 << 30)
    contents = {}
    for row in rows(folder, "readings"):
        digest = contents.setdefault(row["file"], Digest())
        digest.text(row["specimen"])
        digest.text(row["dimension"])
        digest.integer(row["number"])
        digest.real(row["value"])
        digest.real(row["uncertainty"])
        digest.integer(STATES.index(row["state"]))
        digest.integer(UNITS.index(row["written_in"]))
        digest.text(row["text"])
        digest.circumstance(row)
    for row in rows(folder, "traces"):
        digest = contents.setdefault(row["file"], Digest())
        digest.mark(b"T")
        digest.text(row["specimen"])
        digest.text(row["feature"])
        digest.integer(row["repeat"])
        digest.integer(row["number"])
        digest.integer(STATES.index(row["state"]))
        digest.real_or_nothing(row["uncertainty"])
        for column in ["decimal_mark", "unit", "points"]:
            digest.text(row[column])
        digest.circumstance(row)
    works = {}
    for row in rows(folder, "works"):
        works[row["specimen"], row["dimension"], row["number"]] = row["revision"]
    previous = ""
    for revision in rows(folder, "revisions"):
        number = revision["revision"]

        def of(name, column="revision"):
            return [row for row in rows(folder, name) if row[column] == number]

        digest = Digest()
        digest.text(previous)
        digest.integer(number)
        for column in ["made_on", "made_by", "action", "why"]:
            digest.text(revision[column])
        for file in of("files"):
            for column in ["name", "sha256", "options"]:
                digest.text(file[column])
            digest.text(contents.get(file["file"], Digest()).hex())
        digest.mark(b"#")
        for row in of("dimensions"):
            for column in ["key", "label", "unit", "synonyms", "how_measured"]:
                digest.text(row[column])
            digest.real_or_nothing(row["credible_low"])
            digest.real_or_nothing(row["credible_high"])
            digest.text(row["wear_moves"])
            digest.text(row["tool_moves"])
        digest.mark(b"#")
        for row in of("periods"):
            digest.text(row["maker"])
            digest.text(row["period"])
            digest.integer(row["from"])
            digest.integer(row["to"])
            digest.text(row["standing"])
            digest.text(row["note"])
        digest.mark(b"#")
        for row in of("periods", "withdrawn_in"):
            digest.text(row["maker"])
            digest.text(row["period"])
            digest.integer(row["from"])
        digest.mark(b"#")
        for row in of("specimens"):
            for column in ["specimen", "maker", "pattern", "finish", "made", "period", "source", "note"]:
                digest.text(row[column])
        digest.mark(b"#")
        for row in of("readings", "withdrawn_in"):
            digest.text(row["specimen"])
            digest.text(row["dimension"])
            digest.integer(row["number"])
        for row in of("traces", "withdrawn_in"):
            digest.mark(b"T")
            digest.text(row["specimen"])
            digest.text(row["feature"])
            digest.integer(row["repeat"])
            digest.integer(row["number"])
        for row in of("works"):
            digest.mark(b"W")
            digest.text(row["specimen"])
            digest.text(row["dimension"])
            digest.integer(row["number"])
            digest.integer(row["found_number"])
            for column in ["tool", "done_by", "done_on", "why"]:
                digest.text(row[column])
        for row in rows(folder, "pictures"):
            if works.get((row["specimen"], row["dimension"], row["number"])) == number:
                digest.mark(b"P")
                digest.text(row["specimen"])
                digest.text(row["dimension"])
                digest.integer(row["number"])
                digest.integer(row["picture"])
                digest.text(row["name"])
                digest.text(row["sha256"])
        previous = digest.hex()
        print(number, previous)


main(sys.argv[1])
