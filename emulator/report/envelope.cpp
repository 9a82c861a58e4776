#include "emulator/report/envelope.hpp"

#include <algorithm>
#include <cmath>

#include "emulator/record/record_layout.hpp"

namespace stillrotor {
namespace {

constexpr std::size_t at_a_time = 65536;  // values read in one go

/// Grid points first .. end - 1 lie in the span; point k stands at (k + 1) / rate.
struct Range {
  std::size_t first, end;
};
Range range_of(const RecordReader& record, Span span) {
  const double rate = record.rate_Hz();
  const auto clamped = [&](double point) {
    return static_cast<std::size_t>(std::clamp(point, 0.0, static_cast<double>(record.frames())));
  };
  const std::size_t first = clamped(std::ceil(span.from_s * rate - 1.0 - 1e-6));
  return {first, std::max(first, clamped(std::floor(span.to_s * rate + 1e-6)))};
}

std::size_t column_of(double at_s, Span span, std::size_t columns) {
  const double share = (at_s - span.from_s) / span.seconds() * static_cast<double>(columns);
  return static_cast<std::size_t>(std::clamp(share, 0.0, static_cast<double>(columns - 1)));
}

/// Bins of the record's overview that are small beside a column; 0: none is.
std::size_t overview_points(const RecordReader& record, Span span, std::size_t columns) {
  std::size_t found = 0;
  for (const std::size_t points : layout::overview_points)
    if (8.0 * static_cast<double>(points * columns) <= span.seconds() * record.rate_Hz())
      found = points;
  return found;
}

/// A bin that reaches into two columns counts for both.
void add_overview(const RecordReader& record, Signal signal, Span span, std::size_t points,
                  Envelope& out) {
  const std::size_t columns = out.least.size();
  const double bin_s = static_cast<double>(points) / record.rate_Hz();
  const auto first = static_cast<std::size_t>(std::max(0.0, span.from_s) / bin_s);
  const auto count = static_cast<std::size_t>(span.seconds() / bin_s) + 2;
  const auto bins = record.overview(signal, points, first, count);
  for (std::size_t k = 0; k < bins.size(); ++k) {
    const double from_s = static_cast<double>(first + k) * bin_s;
    if (std::isnan(bins[k].least) || from_s > span.to_s) continue;
    const std::size_t end = column_of(from_s + bin_s, span, columns);
    for (std::size_t column = column_of(from_s, span, columns); column <= end; ++column) {
      out.least[column] = std::min(out.least[column], bins[k].least);
      out.greatest[column] = std::max(out.greatest[column], bins[k].greatest);
    }
  }
}

}  // namespace

Envelope envelope(const RecordReader& record, Signal signal, Span span, std::size_t columns) {
  Envelope out{std::vector<float>(columns, HUGE_VALF), std::vector<float>(columns, -HUGE_VALF)};
  if (const std::size_t points = overview_points(record, span, columns); points > 0) {
    add_overview(record, signal, span, points, out);
    return out;
  }
  const bool spread = signal_table[static_cast<std::size_t>(signal)].spread;
  const Range range = range_of(record, span);
  for (std::size_t first = range.first; first < range.end; first += at_a_time) {
    const std::size_t count = std::min(at_a_time, range.end - first);
    const auto low =
        spread ? record.least(signal, first, count) : record.values(signal, first, count);
    const auto high = spread ? record.greatest(signal, first, count) : low;
    for (std::size_t k = 0; k < count; ++k) {
      const double at_s = static_cast<double>(first + k + 1) / record.rate_Hz();
      const std::size_t column = column_of(at_s, span, columns);
      out.least[column] = std::min(out.least[column], low[k]);
      out.greatest[column] = std::max(out.greatest[column], high[k]);
    }
  }
  return out;
}

Points points(const RecordReader& record, Signal signal, Span span) {
  const Range range = range_of(record, span);
  Points out;
  out.value = record.values(signal, range.first, range.end - range.first);
  for (std::size_t k = range.first; k < range.end; ++k)
    out.at_s.push_back(static_cast<double>(k + 1) / record.rate_Hz());
  return out;
}

std::vector<LineColumn> line_columns(const RecordReader& record, std::uint16_t line, Span span,
                                     std::size_t columns) {
  const auto& edges = record.edges(line);
  const auto from_ps = static_cast<std::int64_t>(span.from_s * 1e12);
  auto next = std::upper_bound(
      edges.begin(), edges.end(), from_ps,
      [](std::int64_t at_ps, const RecordedEdge& edge) { return at_ps < edge.at_ps; });
  bool high = next == edges.begin() ? record.initially_high(line) : (next - 1)->level != 0;
  std::vector<LineColumn> out;
  out.reserve(columns);
  for (std::size_t k = 0; k < columns; ++k) {
    const double end_s =
        span.from_s + span.seconds() * static_cast<double>(k + 1) / static_cast<double>(columns);
    bool was_low = !high, was_high = high;
    for (; next != edges.end() && static_cast<double>(next->at_ps) * 1e-12 < end_s; ++next) {
      high = next->level != 0;
      (high ? was_high : was_low) = true;
    }
    out.push_back(was_low && was_high ? LineColumn::both
                  : was_high          ? LineColumn::high
                                      : LineColumn::low);
  }
  return out;
}

}  // namespace stillrotor
