#!/usr/bin/python3
# SPDX-License-Identifier: Apache-2.0
"""Puts the printed register page into the README. Usage: readme_page.py CRESTGATE_PROGRAM"""
import pathlib
import re
import subprocess
import sys

SOURCE = pathlib.Path(__file__).resolve().parents[2]


def page(program):
    cell = SOURCE / "packaging" / "examples" / "cell.toml"
    printed = subprocess.run([program, "validate", cell, "--registers"], check=True, text=True, capture_output=True).stdout
    return re.sub(r"^#", "###", printed, flags=re.MULTILINE).strip()  # its headings stand two levels deeper there


def main():
    readme = SOURCE / "README.md"
    text = readme.read_text(encoding="utf-8")
    begin = text.index("</summary>\n\n") + len("</summary>\n\n")
    end = text.index("\n\n</details>")
    readme.write_text(text[:begin] + page(sys.argv[1]) + text[end:], encoding="utf-8")


if __name__ == "__main__":
    main()
