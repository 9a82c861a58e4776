// What a signal or a line does in a window, in as many columns as a drawing has: nothing that lies
// between two columns is lost, only its place inside one.
// Units as the record has them. Errors: as RecordReader.
#pragma once

#include <cstdint>
#include <vector>

#include "emulator/record/record_reader.hpp"

namespace stillrotor {

/// Part of a record's time.
struct Span {
  double from_s = 0.0, to_s = 0.0;
  double seconds() const noexcept { return to_s - from_s; }
};

/// Column k reaches from k / n to (k + 1) / n of the span; a column without a value has
/// least > greatest.
struct Envelope {
  std::vector<float> least, greatest;
};
/// Of a signal with a spread, the least and greatest between grid points, too. Long windows are
/// taken from the record's overview, where values may move by an eighth of a column.
Envelope envelope(const RecordReader&, Signal, Span, std::size_t columns);

/// Grid points in a span, for a drawing that has room for each.
struct Points {
  std::vector<double> at_s;
  std::vector<float> value;
};
Points points(const RecordReader&, Signal, Span);

/// How a line stands in each column.
enum class LineColumn : unsigned char { low, high, both };
std::vector<LineColumn> line_columns(const RecordReader&, std::uint16_t line, Span,
                                     std::size_t columns);

}  // namespace stillrotor
