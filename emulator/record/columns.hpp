// The columns of a record: the datasets that frames fill.
#pragma once

#include <cstddef>

#include "emulator/handover/frame.hpp"

namespace stillrotor {

inline constexpr std::size_t column_count = signal_count + 2 * spread_count;

/// Which dataset a column is: values of all signals, then least, then greatest of the spread ones.
struct ColumnInfo {
  const char* group;
  const SignalInfo* signal;
};
constexpr ColumnInfo column_info(std::size_t column) noexcept {
  if (column < signal_count) return {"signals", &signal_table[column]};
  column -= signal_count;
  if (column < spread_count) return {"signals_least", &signal_table[column]};
  return {"signals_greatest", &signal_table[column - spread_count]};
}

}  // namespace stillrotor
