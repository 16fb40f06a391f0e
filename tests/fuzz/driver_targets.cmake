# SPDX-License-Identifier: Apache-2.0
# Parsers of driver/ that see bytes from outside.
add_fuzz_target(link_frame_fuzz SOURCES link_frame_fuzz.cpp ROOMS driver)
add_fuzz_target(modbus_request_fuzz SOURCES modbus_request_fuzz.cpp ROOMS driver)
