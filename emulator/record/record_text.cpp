#include "emulator/record/record_text.hpp"

#include <algorithm>
#include <cmath>
#include <cstdarg>
#include <cstdio>

#include "io/connector.hpp"

namespace stillrotor {
namespace {

constexpr std::size_t block_size = 65536;

__attribute__((format(printf, 2, 3))) void put(std::string& text, const char* form, ...) {
  std::va_list arguments, again;
  va_start(arguments, form);
  va_copy(again, arguments);
  std::string line(static_cast<std::size_t>(std::vsnprintf(nullptr, 0, form, arguments)) + 1, '\0');
  std::vsnprintf(line.data(), line.size(), form, again);
  va_end(again);
  va_end(arguments);
  text.append(line, 0, line.size() - 1);
}

double seconds(std::int64_t ps) { return static_cast<double>(ps) * 1e-12; }

void put_signal(std::string& text, const RecordReader& record, std::size_t index) {
  const auto signal = static_cast<Signal>(index);
  const SignalInfo& info = signal_table[index];
  double least = HUGE_VAL, greatest = -HUGE_VAL, sum = 0.0;
  std::size_t known = 0;
  for (std::size_t first = 0; first < record.frames(); first += block_size) {
    const std::size_t count = std::min(block_size, record.frames() - first);
    const auto values = record.values(signal, first, count);
    for (const float value : values) {
      if (std::isnan(value)) continue;  // not kept, or lost
      sum += double{value};
      ++known;
    }
    const auto low = info.spread ? record.least(signal, first, count) : values;
    const auto high = info.spread ? record.greatest(signal, first, count) : values;
    for (std::size_t k = 0; k < count; ++k) {
      least = std::fmin(least, double{low[k]});
      greatest = std::fmax(greatest, double{high[k]});
    }
  }
  put(text, "  %-22.*s %-6.*s %12.6g %12.6g %12.6g   %.*s\n", static_cast<int>(info.name.size()),
      info.name.data(), static_cast<int>(info.unit.size()), info.unit.data(), least,
      sum / static_cast<double>(known), greatest, static_cast<int>(info.text.size()),
      info.text.data());
}

void put_edges(std::string& text, const RecordReader& record) {
  text += "\nedges                         count         first s          last s   at 0 s\n";
  for (std::uint16_t line = 0; line < io::line_count; ++line) {
    const auto name = io::name(static_cast<io::LineId>(line));
    const auto& edges = record.edges(line);
    const char* level = record.initially_high(line) ? "high" : "low";
    put(text, "  %-22.*s %10zu", static_cast<int>(name.size()), name.data(), edges.size());
    if (edges.empty()) {
      put(text, " %15s %15s   %s\n", "-", "-", level);
    } else {
      put(text, " %15.9f %15.9f   %s\n", seconds(edges.front().at_ps), seconds(edges.back().at_ps),
          level);
    }
  }
}

void put_marks(std::string& text, const RecordReader& record) {
  if (record.marks().empty()) return;
  constexpr const char* kinds[] = {"action", "fault", "event", "text", "gap"};
  text += "\nmarks\n";
  for (const RecordedMark& mark : record.marks()) {
    put(text, "  %13.9f s  %-6s %s", seconds(mark.at_ps),
        kinds[static_cast<std::size_t>(mark.kind)], mark.name.c_str());
    if (!mark.detail.empty()) put(text, ": %s", mark.detail.c_str());
    if (mark.kind == MarkKind::gap) put(text, " (until %.9f s)", seconds(mark.to_ps));
    text += '\n';
  }
}

}  // namespace

std::string record_text(const RecordReader& record) {
  std::string text;
  put(text, "bench       %s\nscenario    %s\n", record.bench().c_str(), record.scenario().c_str());
  put(text, "clock       %s\npole pairs  %d\n", record.clock().c_str(), record.pole_pairs());
  put(text, "covers      0 s to %.9f s, %s\n", record.end_s(),
      record.finished() ? "finished" : "CUT SHORT: the run did not come to its end");
  put(text, "grid        %zu points, %g Hz\n", record.frames(), record.rate_Hz());
  if (record.frames() > 0) {
    text += "\nsignals                unit          least         mean     greatest\n";
    for (std::size_t k = 0; k < signal_count; ++k) put_signal(text, record, k);
  }
  put_edges(text, record);
  put_marks(text, record);
  return text;
}

}  // namespace stillrotor
