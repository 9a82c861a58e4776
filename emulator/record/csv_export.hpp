// Signals of a record as comma-separated values (RFC 4180, UTF-8, a header line, points as
// decimal marks): column time_s, then one column a signal, "name [unit]".
#pragma once

#include <filesystem>
#include <string>
#include <vector>

#include "emulator/record/firmware_signals.hpp"
#include "emulator/record/record_reader.hpp"

namespace stillrotor {

struct CsvSelection {
  /// Names of the signal table; for spread signals also "<name>.least" and "<name>.greatest".
  /// "firmware.<name>": a variable of the firmware. Empty: every signal of the table, and all of
  /// these.
  std::vector<std::string> signals;
  double from_s = 0.0;
  double to_s = -1.0;  // < 0: to the end
};

/// Replaces `file` only when everything is written. Throws std::invalid_argument (unknown signal, a
/// window that holds no point), std::system_error (the disk refuses) and std::runtime_error (the
/// record is damaged).
void export_csv(const RecordReader&, const CsvSelection&, const std::filesystem::path& file,
                const std::vector<FirmwareSignal>& firmware = {});

}  // namespace stillrotor
