// What of a record is drawn: the whole run, then close to what matters.
//
// Close    a fault, an end of the controller, a driver fault or a shoot-through, the first of each,
// up
//          to most_close, and as many limits that did not hold, each where its measure was worst;
//          where there is neither, the last stretch of the run. Some three electrical periods wide,
//          5 ms to 250 ms, a quarter of it before the moment.
// Closer   a tenth of that.
// Errors   as RecordReader.
#pragma once

#include <string>
#include <vector>

#include "emulator/record/firmware_signals.hpp"
#include "emulator/report/envelope.hpp"

namespace stillrotor {

struct View {
  std::string title;
  Span span;
};
inline constexpr std::size_t most_close = 3;

/// A limit that did not hold, and the window that it was measured over.
struct Broken {
  std::string measure;
  Span window;
};

View whole_run(const RecordReader&);
std::vector<View> close_views(const RecordReader&, const std::vector<Broken>& = {});
/// Into a view, about what it stands about.
View closer(const View&);

/// The charts of a view, one below the other, as SVG in figures; few: currents, lines, torque, bus.
std::string time_charts(const RecordReader&, const View&, bool few = false);
/// The firmware's variables in the view, a chart each.
std::string firmware_charts(const RecordReader&, const std::vector<FirmwareSignal>&, const View&);
/// Both runs' currents, torque, speed and bus on the same axes.
std::string charts_beside(const RecordReader&, const RecordReader& other,
                          const std::string& its_name);
/// Gate signals alone, so near that each pulse shows.
std::string gate_chart(const RecordReader&, double at_s);
/// Spectra of a phase current, torque and speed over the longest stretch, cut to its last second,
/// that holds no mark, and current: a machine at work. Empty where there is none.
std::string spectra(const RecordReader&);
/// i_q over i_d of the whole run, both at one scale.
std::string dq_chart(const RecordReader&);

}  // namespace stillrotor
