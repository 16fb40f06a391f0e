# SPDX-License-Identifier: Apache-2.0
"""The whole texture set of one trace as a NumPy/SciPy script.

Two uses: the rival that the program is timed against, and the outside reference that it is compared with. Written
from the standards' formulas and the rules written down beside each function, never from the program's sources.
NumPy 1.24 and SciPy 1.10 of Debian 12. One thread.
"""
from .chain import Settings, profiles, texture, units

__all__ = ["Settings", "profiles", "texture", "units"]
