// What of a record is drawn: the whole run, then close to what matters.
//
// Close    a fault, an end of the controller, a driver fault or a shoot-through, the first of each
// up to
//          most_close; where there is none, the last stretch of the run. Some three electrical
//          periods wide, 5 ms to 250 ms, a quarter of it before the moment.
// Errors   as RecordReader.
#pragma once

#include <string>
#include <vector>

#include "emulator/report/envelope.hpp"

namespace stillrotor {

struct View {
  std::string title;
  Span span;
};
inline constexpr std::size_t most_close = 3;

View whole_run(const RecordReader&);
std::vector<View> close_views(const RecordReader&);

/// The charts of a view, one below the other, as SVG in figures.
std::string time_charts(const RecordReader&, const View&);
/// Gate signals alone, so near that each pulse shows.
std::string gate_chart(const RecordReader&, double at_s);
/// Spectra of a phase current and of torque over the last second that holds no mark; empty where
/// there is too little.
std::string spectra(const RecordReader&);
/// i_q over i_d of the whole run.
std::string dq_chart(const RecordReader&);

}  // namespace stillrotor
