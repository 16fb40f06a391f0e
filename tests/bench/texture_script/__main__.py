# SPDX-License-Identifier: Apache-2.0
"""python3 tests/bench/texture_script TRACE.csv [--lambda-c 0.8 ...]: every texture number as JSON."""
import argparse
import json
import pathlib
import sys

if __package__ in (None, ""):
    sys.path.insert(0, str(pathlib.Path(__file__).resolve().parent.parent))
from texture_script import Settings, texture, units
from texture_script.trace_file import read_trace


def main():
    parser = argparse.ArgumentParser(prog="texture_script", description=__doc__)
    parser.add_argument("trace", help="CSV with the header x_mm,z_um")
    parser.add_argument("--lambda-c", type=float, default=0.8, help="mm")
    parser.add_argument("--lambda-s", type=float, default=0.0025, help="mm; 0: none")
    parser.add_argument("--lambda-f", type=float, help="mm; absent: none")
    parser.add_argument("--filter", default="gaussian", choices=["gaussian", "robust", "robust2", "spline", "two-step"])
    parser.add_argument("--form", default="line", help="line, arc, poly:N or none")
    parser.add_argument("--sections", type=int, default=5)
    arguments = parser.parse_args()
    heights_um, spacing_mm = read_trace(arguments.trace)
    settings = Settings(lambda_c_mm=arguments.lambda_c, lambda_s_mm=arguments.lambda_s, lambda_f_mm=arguments.lambda_f,
                        filter=arguments.filter, form=arguments.form, sections=arguments.sections)
    values = texture(heights_um, spacing_mm, settings)
    json.dump({"settings": {**vars(settings), "spacing_mm": spacing_mm}, "parameters": values, "units": units(values)},
              sys.stdout, indent=2)
    print()


if __name__ == "__main__":
    main()
