// SPDX-License-Identifier: Apache-2.0
#pragma once
// The register map and the words inside it as HTML tables, each from its one table in the code.

#include <string>

namespace crestgate::report {

std::string accept_rule();          // a list of the conditions, in a box
std::string plc_register_table();   // what the PLC writes
std::string cell_register_table();  // what the cell answers, with both places where it can be read
std::string verdict_table();
std::string control_bit_table();
std::string flag_bit_table();
std::string warning_bit_table();
std::string state_table();
std::string fate_table();
std::string exception_table();
std::string test_pattern_table();
std::string step_fault_table();

}  // namespace crestgate::report
