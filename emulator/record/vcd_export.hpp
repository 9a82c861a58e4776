// The lines of a record as a value change dump (IEEE 1364), for waveform viewers.
#pragma once

#include <filesystem>

#include "emulator/record/record_reader.hpp"

namespace stillrotor {

/// Replaces `file` only when everything is written. Throws std::system_error (the disk refuses) and
/// std::runtime_error (the record is damaged).
void export_vcd(const RecordReader&, const std::filesystem::path& file);

}  // namespace stillrotor
