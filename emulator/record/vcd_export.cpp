#include "emulator/record/vcd_export.hpp"

#include <array>
#include <cmath>
#include <optional>
#include <string>
#include <system_error>
#include <vector>

#include "emulator/record/edge_stream.hpp"
#include "emulator/record/vcd_file.hpp"
#include "io/connector.hpp"

namespace stillrotor {
namespace {

void write(const RecordReader& record, const std::filesystem::path& file) {
  std::uint32_t initially_high = 0;
  std::vector<EdgeStream> lines;
  for (std::uint16_t line = 0; line < io::line_count; ++line) {
    if (record.initially_high(line)) initially_high |= std::uint32_t{1} << line;
    lines.emplace_back(record, line);
  }
  VcdFile dump(file, initially_high);
  std::array<LineEdge, 512> block;
  std::size_t filled = 0;
  for (;;) {
    // The earliest; at one instant the first line.
    std::optional<std::uint16_t> next;
    for (std::uint16_t line = 0; line < io::line_count; ++line)
      if (!lines[line].done() && (!next || lines[line].at_ps() < lines[*next].at_ps())) next = line;
    if (!next) break;
    EdgeStream& line = lines[*next];
    block[filled++] = {line.at_ps(), *next, static_cast<std::uint8_t>(line.level())};
    line.step();
    if (filled < block.size()) continue;
    dump.add(block);
    filled = 0;
  }
  dump.add({block.data(), filled});
  dump.finish(std::llround(record.end_s() * 1e12));
}

}  // namespace

void export_vcd(const RecordReader& record, const std::filesystem::path& file) {
  const std::filesystem::path part = file.string() + ".part";
  try {
    write(record, part);
    std::filesystem::rename(part, file);
  } catch (...) {
    std::error_code ignored;
    std::filesystem::remove(part, ignored);
    throw;
  }
}

}  // namespace stillrotor
