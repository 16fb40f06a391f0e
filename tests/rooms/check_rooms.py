#!/usr/bin/python3
# SPDX-License-Identifier: Apache-2.0
"""Who may see whom: a forbidden include must not compile, an allowed one must, a forbidden link must stop CMake, and
<...> includes must belong to libraries that the table gives to the room."""
import pathlib
import re
import subprocess
import sys
import tempfile

SOURCE, TABLE = pathlib.Path(sys.argv[1]).resolve(), pathlib.Path(sys.argv[2])
COMPILER, CMAKE = sys.argv[3], sys.argv[4]

HEADERS = {"base": "base/result.h", "registers": "registers/register_map.h", "protocol": "protocol/convert/record_kind.h",
           "analysis": "analysis/judging/part_judge.h", "driver": "driver/signal/signal_output.h",
           "simulator": "simulator/surface/recipe.h", "cell": "daemon/cell/cycle/cycle_event.h",
           "report": "daemon/report/cabinet/plc_page.h", "command": "daemon/command/commands.h"}
FOLDERS = {"base": "protocol/base", "registers": "protocol/registers", "protocol": "protocol", "analysis": "analysis",
           "driver": "driver", "simulator": "simulator", "cell": "daemon/cell", "report": "daemon/report", "command": "daemon/command"}
EXTERNAL_OF = [("boost/", "boost"), ("google/protobuf/", "protobuf"), ("crestgate/record/", "protobuf"), ("isa-l", "isal"), ("openssl/", "crypto"),
               ("Eigen/", "eigen"), ("unsupported/Eigen/", "eigen"), ("kissfft/", "kissfft"), ("libserialport.h", "serialport"),
               ("modbus", "modbus"), ("gpiod.h", "gpiod"), ("spdlog/", "spdlog"), ("fmt/", "spdlog"), ("toml++/", "tomlplusplus"), ("CLI/", "cli11"),
               ("nlohmann/", "json")]
# Of the system itself; only the rooms whose work it is, and the command that catches signals.
SYSTEM_ROOMS = {"protocol", "driver", "simulator", "cell", "command"}
failures = []


def check(condition, text):
    if not condition:
        failures.append(text)


def read_table():
    rooms = {"base": {"links": [], "externals": []}, "registers": {"links": [], "externals": []}}
    for line in TABLE.read_text(encoding="utf-8").splitlines():
        words = re.split(r"[ ;]+", line.strip())
        if words[0] == "room":
            room = rooms.setdefault(words[1], {})
        elif words[0]:
            room[words[0]] = [word for word in words[1:] if word]
    return rooms


def compiles(header, include_dirs):
    flags = [f"-I{directory}" for directory in include_dirs]
    with tempfile.TemporaryDirectory() as nowhere:  # a quoted include is looked for in the current folder first
        result = subprocess.run([COMPILER, "-std=c++20", "-fsyntax-only", "-x", "c++", *flags, "-"], check=False, text=True,
                                cwd=nowhere, input=f'#include "{header}"\n', capture_output=True)
    return result.returncode == 0, result.stderr


def reachable(room, rooms):
    seen, todo = set(), [room]
    while todo:
        name = todo.pop()
        if name not in seen:
            seen.add(name)
            todo += rooms[name]["links"] if name in rooms else []
    return seen


def check_includes_by_compiling(rooms):
    for room, facts in rooms.items():
        if "include_dirs" not in facts:
            continue
        allowed = reachable(room, rooms)
        for other, header in HEADERS.items():
            fine, message = compiles(header, facts["include_dirs"])
            if other in allowed:
                check(fine, f"{room} must be able to include {header}: {message[:300]}")
            else:
                check(not fine and "No such file" in message, f"{room} can include {header}, which the table forbids")


def room_of(path):
    best = ""
    for room, folder in FOLDERS.items():
        if path.is_relative_to(SOURCE / folder) and len(folder) >= len(FOLDERS.get(best, "")):
            best = room
    return best


def check_third_party_includes(rooms):
    count = 0
    for folder in ("protocol", "analysis", "driver", "simulator", "daemon"):
        for path in sorted((SOURCE / folder).rglob("*")):
            if path.suffix not in (".h", ".cpp"):
                continue
            room = room_of(path)
            for include in re.findall(r"^#include <([^>]+)>", path.read_text(encoding="utf-8"), re.MULTILINE):
                count += 1
                if "/" not in include and "." not in include:
                    continue  # the standard library
                external = next((name for prefix, name in EXTERNAL_OF if include.startswith(prefix)), None)
                if external is None:
                    check(room in SYSTEM_ROOMS, f"{path}: <{include}> is not for room {room}")
                else:
                    check(external in rooms.get(room, {}).get("externals", []),
                          f"{path}: <{include}> belongs to {external}, which the table does not give to {room}")
    check(count > 100, f"only {count} includes were seen: the check itself is broken")


def check_forbidden_link_stops_cmake():
    with tempfile.TemporaryDirectory() as scratch:
        folder = pathlib.Path(scratch)
        for rooms, expected in (("analysis", "may not link room 'analysis'"), ("base", None)):
            (folder / "CMakeLists.txt").write_text(
                "cmake_minimum_required(VERSION 3.25)\nproject(x LANGUAGES CXX)\n"
                f"include({SOURCE}/cmake/Rooms.cmake)\nadd_library(crestgate_warnings INTERFACE)\n"
                "add_library(base INTERFACE)\n"
                f"add_room(driver INCLUDE driver ROOMS {rooms})\n", encoding="utf-8")
            result = subprocess.run([CMAKE, "-G", "Ninja", "-S", folder, "-B", folder / "build"], check=False, text=True, capture_output=True)
            if expected:
                check(result.returncode != 0 and expected in result.stderr, f"linking {rooms} to driver must stop CMake")
            else:
                check(result.returncode == 0, f"an allowed link must configure: {result.stderr[:300]}")


def main():
    rooms = read_table()
    check_includes_by_compiling(rooms)
    check_third_party_includes(rooms)
    check_forbidden_link_stops_cmake()
    for failure in failures:
        print(failure)
    print(f"{len(rooms)} rooms, {len(failures)} offences")
    return 1 if failures else 0


sys.exit(main())
