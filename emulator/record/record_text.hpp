// What is in a record, for people.
#pragma once

#include <string>

#include "emulator/record/record_reader.hpp"

namespace stillrotor {

/// Names, length, signals with unit and least, mean, greatest, edges per line, marks. Several
/// lines.
std::string record_text(const RecordReader&);

}  // namespace stillrotor
