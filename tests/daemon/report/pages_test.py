#!/usr/bin/python3
# SPDX-License-Identifier: Apache-2.0
"""The pages for the cabinet as the program prints them: whole, well-formed, self-contained, small; misuse is said plainly."""
import html.parser
import os
import pathlib
import re
import subprocess
import unittest
import xml.etree.ElementTree

SOURCE = pathlib.Path(__file__).resolve().parents[3]
PROGRAMS = pathlib.Path(os.environ.get("CRESTGATE_PROGRAMS", SOURCE / "build" / "dev" / "bin"))
CELL = SOURCE / "packaging" / "examples" / "cell.toml"
PAGES = ("reasons", "plc")
VOID = {"meta", "br", "col"}


def crestgate(*arguments):
    return subprocess.run([PROGRAMS / "crestgate", *map(str, arguments)], check=False, text=True, capture_output=True)


def printed(page):
    result = crestgate("validate", CELL, "--page", page)
    assert result.returncode == 0 and not result.stderr, result.stderr
    return result.stdout


class Balance(html.parser.HTMLParser):
    """Every element that is opened is closed, as a browser reads it."""

    def __init__(self):
        super().__init__()
        self.open, self.wrong, self.tags = [], [], set()

    def handle_starttag(self, tag, attrs):
        self.tags.add(tag)
        if tag not in VOID:
            self.open.append(tag)

    def handle_startendtag(self, tag, attrs):
        self.tags.add(tag)

    def handle_endtag(self, tag):
        if not self.open or self.open.pop() != tag:
            self.wrong.append((tag, self.getpos()))


class Pages(unittest.TestCase):
    @classmethod
    def setUpClass(cls):
        cls.texts = {page: printed(page) for page in PAGES}
        cls.trees = {page: xml.etree.ElementTree.fromstring(text.split("\n", 1)[1]) for page, text in cls.texts.items()}

    def test_are_html_and_well_formed_xml_at_once(self):
        for page, text in self.texts.items():
            self.assertTrue(text.startswith("<!DOCTYPE html>\n<html lang=\"en\">"), page)
            balance = Balance()
            balance.feed(text)
            balance.close()
            self.assertEqual((balance.open, balance.wrong), ([], []), page)

    def test_fetch_nothing_and_run_nothing(self):
        for page, text in self.texts.items():
            outside = re.search(r"(?i)https?:|//[a-z]|@import|\bsrc=|\bhref=|data:|<script|<link|<iframe|<img|\bon[a-z]+=", text)
            self.assertIsNone(outside, page)
            for address in re.findall(r"url\(([^)]*)\)", text):
                self.assertTrue(address.startswith("#"), f"{page}: {address}")

    def test_are_small(self):
        for page, text in self.texts.items():
            self.assertLess(len(text.encode()), 200_000, page)

    def test_have_a_title_one_first_heading_and_second_ones(self):
        for page, tree in self.trees.items():
            self.assertTrue(tree.find("head/title").text.strip(), page)
            self.assertEqual(len(list(tree.iter("h1"))), 1, page)
            self.assertGreater(len(list(tree.iter("h2"))), 4, page)
            self.assertEqual(len(list(tree.iter("main"))), 1, page)

    def test_ids_are_unique_and_those_that_are_referred_to_exist(self):
        for page, tree in self.trees.items():
            ids = [element.get("id") for element in tree.iter() if element.get("id")]
            self.assertEqual(len(ids), len(set(ids)), page)
            for element in tree.iter():
                for name in (element.get("aria-labelledby") or "").split():
                    self.assertIn(name, ids, page)
            for name in re.findall(r"url\(#([^)]*)\)", self.texts[page]):
                self.assertIn(name, ids, page)

    def test_tables_have_captions_and_headers_with_scope_and_full_rows(self):
        for page, tree in self.trees.items():
            tables = list(tree.iter("table"))
            self.assertGreater(len(tables), 4, page)
            for table in tables:
                caption = table.find("caption").text
                self.assertTrue(caption.strip(), page)
                self.assertTrue(all(header.get("scope") for header in table.iter("th")), caption)
                width = len(table.findall("thead/tr/th"))
                for body in table.findall("tbody"):
                    left = 0
                    for row in body.findall("tr"):
                        cells = list(row)
                        if cells[0].get("rowspan"):
                            left = int(cells[0].get("rowspan"))
                            cells = cells[1:]
                        self.assertEqual(len(cells), width - (1 if left else 0), caption)
                        left = max(left - 1, 0)
                    self.assertEqual(left, 0, f"{caption}: a group is longer than its rows")

    def test_drawings_are_named_and_described(self):
        for page, tree in self.trees.items():
            drawings = list(tree.iter("svg"))
            self.assertEqual(len(drawings), {"reasons": 1, "plc": 2}[page])
            for drawing in drawings:
                self.assertEqual(drawing.get("role"), "img")
                self.assertTrue(drawing.find("title").text and drawing.find("desc").text)
                named = drawing.get("aria-labelledby").split()
                self.assertEqual(named, [drawing.find("title").get("id"), drawing.find("desc").get("id")])

    def test_no_paper_size_is_forced_and_nothing_is_coloured(self):
        for page, text in self.texts.items():
            sizes = re.findall(r"(?<![-\w])size:([^;}]*)", text)
            self.assertTrue(sizes and set(sizes) <= {"portrait", "landscape"}, f"{page}: {sizes}")
            for colour in re.findall(r"#([0-9a-f]{6}|[0-9a-f]{3})\b", text):
                third = len(colour) // 3
                self.assertEqual(len({colour[i:i + third] for i in range(0, len(colour), third)}), 1, f"{page}: #{colour}")

    def test_no_text_on_paper_is_smaller_than_eight_points(self):
        for page, text in self.texts.items():
            sizes = [float(size) for size in re.findall(r"([0-9.]+)pt", text)]
            self.assertTrue(sizes and min(sizes) >= 8.0, page)

    def test_are_the_same_each_time(self):
        for page, text in self.texts.items():
            self.assertEqual(printed(page), text)

    def test_the_wiring_is_that_of_the_example(self):
        text = self.texts["plc"]
        for words in ("<b>127.0.0.1</b>, port <b>1502</b>, unit <b>1</b>", "<b>12</b>", "<b>2</b> finished",
                      "<li><b>crest A</b>: 1 x 5.6 mm, 5.6 s</li><li><b>crest B</b>"):
            self.assertIn(words, text)


class Misuse(unittest.TestCase):
    def refused(self, *arguments, saying):
        result = crestgate("validate", CELL, *arguments)
        self.assertEqual(result.returncode, 2)
        self.assertEqual(result.stdout, "")
        lines = result.stderr.strip().splitlines()
        self.assertEqual(len(lines), 1, result.stderr)
        self.assertIn(saying, lines[0])

    def test_conflicts_are_said_plainly(self):
        self.refused("--page", "plc", "--registers", saying="expected one of --page and --registers, found both")
        self.refused("--page", "reasons", "--format", "json", saying="expected --page without --format json")
        self.refused("--page", "door", saying="--page")

    def test_a_cell_that_is_not_there_prints_no_page(self):
        result = crestgate("validate", CELL.parent / "none.toml", "--page", "plc")
        self.assertEqual((result.returncode, result.stdout), (2, ""))
        self.assertIn("no such file", result.stderr)


if __name__ == "__main__":
    unittest.main()
