#include "emulator/record/csv_export.hpp"

#include <algorithm>
#include <cerrno>
#include <charconv>
#include <cmath>
#include <fstream>
#include <limits>
#include <stdexcept>
#include <system_error>

#include "emulator/record/columns.hpp"

namespace stillrotor {
namespace {

constexpr std::size_t block_size = 8192;  // of rows
constexpr std::size_t longest_number = 32;

using Firmware = std::vector<FirmwareSignal>;  // columns behind those of the record

std::string column_name(std::size_t column, const Firmware& firmware) {
  if (column >= column_count) return "firmware." + firmware[column - column_count].name;
  const std::string name(column_info(column).signal->name);
  if (column < signal_count) return name;
  return name + (column < signal_count + spread_count ? ".least" : ".greatest");
}

std::size_t find_column(const std::string& wanted, const Firmware& firmware) {
  std::string known;
  for (std::size_t column = 0; column < column_count + firmware.size(); ++column) {
    const std::string name = column_name(column, firmware);
    if (name == wanted) return column;
    known += (column == 0 ? "" : ", ") + name;
  }
  throw std::invalid_argument("--signals: there is no signal \"" + wanted + "\"; known: " + known +
                              ".");
}

std::vector<float> read(const RecordReader& record, std::size_t column, std::size_t first,
                        std::size_t count, const Firmware& firmware) {
  if (column >= column_count) {
    std::vector<float> values(count, std::numeric_limits<float>::quiet_NaN());
    const std::vector<float>& all = firmware[column - column_count].values;
    for (std::size_t k = 0; k < count && first + k < all.size(); ++k) values[k] = all[first + k];
    return values;
  }
  if (column < signal_count) return record.values(static_cast<Signal>(column), first, count);
  column -= signal_count;
  if (column < spread_count) return record.least(static_cast<Signal>(column), first, count);
  return record.greatest(static_cast<Signal>(column - spread_count), first, count);
}

template <class... Form>
void put_number(std::string& text, Form... form) {
  char digits[longest_number];
  text.append(digits, std::to_chars(digits, digits + sizeof digits, form...).ptr);
}

/// Rows of grid points first .. first + count - 1. Numbers read back as the same float32.
std::string rows(const RecordReader& record, const std::vector<std::size_t>& columns,
                 const Firmware& firmware, std::size_t first, std::size_t count) {
  std::vector<std::vector<float>> values;
  for (const std::size_t column : columns)
    values.push_back(read(record, column, first, count, firmware));
  std::string text;
  for (std::size_t row = 0; row < count; ++row) {
    put_number(text, static_cast<double>(first + row + 1) / record.rate_Hz(),
               std::chars_format::general, 12);
    for (const auto& column : values) {
      text += ',';
      put_number(text, column[row]);
    }
    text += "\r\n";
  }
  return text;
}

}  // namespace

void export_csv(const RecordReader& record, const CsvSelection& selection,
                const std::filesystem::path& file, const std::vector<FirmwareSignal>& firmware) {
  std::vector<std::size_t> columns;
  for (const std::string& name : selection.signals) columns.push_back(find_column(name, firmware));
  if (columns.empty()) {
    for (std::size_t k = 0; k < signal_count; ++k) columns.push_back(k);
    for (std::size_t k = 0; k < firmware.size(); ++k) columns.push_back(column_count + k);
  }
  const double to_s = selection.to_s < 0.0 ? record.end_s() : selection.to_s;
  const double frames = static_cast<double>(record.frames());
  // Point k stands at (k + 1) / rate; the tolerance keeps ends that are meant to be on the grid.
  const double first =
      std::clamp(std::ceil(selection.from_s * record.rate_Hz() - 1e-6) - 1.0, 0.0, frames);
  const double end = std::clamp(std::floor(to_s * record.rate_Hz() + 1e-6), 0.0, frames);
  if (!(first < end)) {
    throw std::invalid_argument(
        "--from, --to: the record holds no grid point between them; it "
        "covers 0 s to " +
        std::to_string(record.end_s()) + " s.");
  }
  const std::filesystem::path part = file.string() + ".part";
  std::ofstream out(part, std::ios::binary);
  std::string text = "time_s";
  for (const std::size_t column : columns) {
    text += "," + column_name(column, firmware);
    if (column < column_count) text += " [" + std::string(column_info(column).signal->unit) + "]";
  }
  out << text << "\r\n";
  const auto last = static_cast<std::size_t>(end);
  for (auto k = static_cast<std::size_t>(first); k < last && out; k += block_size) {
    out << rows(record, columns, firmware, k, std::min(block_size, last - k));
  }
  out.close();
  if (!out) {
    const int reason = errno;
    std::error_code ignored;
    std::filesystem::remove(part, ignored);
    throw std::system_error(reason, std::generic_category(), file.string() + ": cannot be written");
  }
  std::filesystem::rename(part, file);
}

}  // namespace stillrotor
