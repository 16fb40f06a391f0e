// SPDX-License-Identifier: Apache-2.0
#pragma once
// What people may ask of a running cell, and what they are told. One JSON object a line, both ways:
//
//   {"ask": "status"}                         -> {"ok": true, "cell": ..., "state": ..., ...}
//   {"ask": "reload"}                         -> reads cell.toml and its plans anew; taken up between two parts
//   {"ask": "note", "who": W, "text": T}      -> an engineer's note into the ledger
//   {"ask": "part", "part_id": ..., "batch": ..., "machine": ..., "stage": ..., "spindle": ..., "wheel": ...,
//    "dress_count": ...}                      -> names the part on the bench, or the next one
//   {"ask": "measure", "recipe": R}           -> measures the part on the bench, without a PLC
//   {"ask": "zone", "zone": K}                -> zone K is in position, without a PLC
//   {"ask": "taken"}                          -> the part is off the bench, without a PLC
//   {"ask": "bypass", "who": W, "minutes": M} -> parts go on unmeasured
//   {"ask": "bypass_end", "who": W}
//
// Refused or failed: {"ok": false, "why": "..."}.

#include <functional>
#include <string>

namespace crestgate::cell {

class CellRunner;

// Lifetime  the runner outlives it. Threads  the I/O thread.
class ControlDesk {
 public:
  // `cell_file` is what the cell was started with.
  ControlDesk(CellRunner& runner, std::string cell_file, std::string software_version);

  void answer(const std::string& line, const std::function<void(std::string)>& reply);

 private:
  void reload(const std::function<void(std::string)>& reply);
  [[nodiscard]] std::string status() const;

  CellRunner& runner_;
  const std::string cell_file_;
  const std::string software_version_;
};

}  // namespace crestgate::cell
