#include "emulator/report/views.hpp"

#include <fmt/format.h>

#include <algorithm>
#include <cmath>
#include <limits>
#include <numbers>
#include <optional>
#include <utility>

#include "emulator/judge/wording.hpp"
#include "emulator/report/chart.hpp"
#include "emulator/report/spectrum.hpp"
#include "io/connector.hpp"

namespace stillrotor {
namespace {

constexpr std::size_t columns = 480;  // of a drawing: two of its units each
constexpr double nothing = std::numeric_limits<double>::quiet_NaN();
constexpr double rpm = 60.0 / (2.0 * std::numbers::pi);

/// Shown as people at a drive read it.
struct Shown {
  Signal signal;
  std::string_view name;
  double factor = 1.0, offset = 0.0;
};
struct Pane {
  std::string_view title, unit;
  std::vector<Shown> signals;
  bool close = true;  // still says something from very near
};

const std::vector<Pane>& panes() {
  static const std::vector<Pane> all{
      {"Phase currents",
       "A",
       {{Signal::current_U, "U"}, {Signal::current_V, "V"}, {Signal::current_W, "W"}}},
      {"Torque", "N m", {{Signal::torque, "of the machine"}, {Signal::load_torque, "of the load"}}},
      {"Speed", "rpm", {{Signal::speed, "motor shaft", rpm}}, false},
      {"Bus voltage", "V", {{Signal::bus_voltage, "at the bridge"}}},
      {"Bus current", "A", {{Signal::bus_current, "out of the supply"}}, false},
      {"Throttle", "V", {{Signal::throttle, "at the controller"}}, false}};
  return all;
}

Curve banded(const RecordReader& record, const Shown& shown, Span span) {
  const Envelope found = envelope(record, shown.signal, span, columns);
  Curve curve{std::string(shown.name), {}, {}, {}};
  for (std::size_t k = 0; k < columns; ++k) {
    curve.x.push_back(span.from_s + span.seconds() * (static_cast<double>(k) + 0.5) /
                                        static_cast<double>(columns));
    const bool any = found.least[k] <= found.greatest[k];
    curve.low.push_back(any ? shown.factor * static_cast<double>(found.least[k]) : nothing);
    curve.high.push_back(any ? shown.factor * static_cast<double>(found.greatest[k]) : nothing);
  }
  return curve;
}

Curve lined(const RecordReader& record, const Shown& shown, Span span) {
  Points found = points(record, shown.signal, span);
  Curve curve{std::string(shown.name), std::move(found.at_s), {}, {}};
  for (const float value : found.value)
    curve.high.push_back(shown.factor * static_cast<double>(value));
  curve.low = curve.high;
  return curve;
}

Curve curve_of(const RecordReader& record, const Shown& shown, Span span) {
  const bool each_fits = span.seconds() * record.rate_Hz() <= 2.0 * static_cast<double>(columns);
  return each_fits ? lined(record, shown, span) : banded(record, shown, span);
}

bool matters(const RecordedMark& mark) {
  constexpr std::string_view events[] = {"controller crashed", "controller hung",
                                         "controller exited", "driver fault", "shoot-through"};
  return mark.kind == MarkKind::fault ||
         (mark.kind == MarkKind::event &&
          std::find(std::begin(events), std::end(events), mark.name) != std::end(events));
}

double seconds(std::int64_t ps) { return static_cast<double>(ps) * 1e-12; }

std::string text_of(const RecordedMark& mark) {
  if (mark.kind == MarkKind::action && !mark.detail.empty()) return mark.detail;
  return mark.detail.empty() ? mark.name : mark.name + " " + mark.detail;
}

std::vector<TimeMark> marks_in(const RecordReader& record, Span span) {
  std::vector<TimeMark> out;
  for (const RecordedMark& mark : record.marks()) {
    const double at_s = seconds(mark.at_ps);
    if (mark.kind == MarkKind::text || mark.kind == MarkKind::gap || at_s < span.from_s ||
        at_s > span.to_s)
      continue;
    out.push_back({at_s, quantity_text(at_s, "s", 6) + ": " + text_of(mark), matters(mark)});
    if (out.size() == 200) break;  // more would be a wall
  }
  return out;
}

double close_width_s(const RecordReader& record, double at_s) {
  const auto frames = record.frames();
  if (frames == 0) return 20e-3;
  const auto k = std::min(frames - 1, static_cast<std::size_t>(at_s * record.rate_Hz()));
  const double speed = std::abs(static_cast<double>(record.values(Signal::speed, k, 1)[0]));
  const double turns_per_s = record.pole_pairs() * speed / (2.0 * std::numbers::pi);
  return std::clamp(3.0 / std::max(turns_per_s, 1e-3), 5e-3, 250e-3);
}

Span about(const RecordReader& record, double at_s) {
  const double width = close_width_s(record, at_s);
  const double to = std::min(record.end_s(), at_s + 0.75 * width);
  return {std::max(0.0, to - width), to};
}

/// Lines of one kind of which any is ever moved or stands high.
std::vector<Trace> traces(const RecordReader& record, std::uint16_t first, std::uint16_t end,
                          Span span) {
  std::vector<Trace> out;
  for (std::uint16_t line = first; line < end; ++line) {
    if (record.edges(line).empty() && !record.initially_high(line)) continue;
    out.push_back(
        {std::string(io::name(io::LineId{line})), line_columns(record, line, span, 2 * columns)});
  }
  return out;
}

std::string trace_chart(const RecordReader& record, std::string_view title, std::uint16_t first,
                        std::uint16_t end, Span span) {
  TraceChart chart{std::string(title),
                   {"time", "s", span.from_s, span.to_s},
                   traces(record, first, end, span),
                   marks_in(record, span)};
  return chart.traces.empty() ? std::string() : svg(chart);
}

/// Where a measure stood worst: at the largest size of the signal that its name begins with, in its
/// window; of one that counts from an event, at its begin.
double worst_moment_s(const RecordReader& record, const Broken& limit) {
  constexpr std::pair<std::string_view, Signal> kinds[] = {{"phase_current", Signal::current_U},
                                                           {"current", Signal::current_q},
                                                           {"bus_", Signal::bus_voltage},
                                                           {"torque", Signal::torque},
                                                           {"speed", Signal::speed}};
  const auto kind = std::find_if(std::begin(kinds), std::end(kinds), [&](const auto& one) {
    return limit.measure.starts_with(one.first);
  });
  if (kind == std::end(kinds)) return limit.window.from_s;
  const Envelope found = envelope(record, kind->second, limit.window, columns);
  double most = -1.0;
  std::size_t where = 0;
  for (std::size_t k = 0; k < columns; ++k) {
    if (found.least[k] > found.greatest[k]) continue;
    const double size = std::max(std::abs(static_cast<double>(found.least[k])),
                                 std::abs(static_cast<double>(found.greatest[k])));
    if (size > most) most = size, where = k;
  }
  return limit.window.from_s +
         limit.window.seconds() * (static_cast<double>(where) + 0.5) / static_cast<double>(columns);
}

/// Of the stretches of 50 ms or more between two marks through which the machine carries a tenth of
/// its greatest current or more, the longest, at most its last second; of equal ones the last.
std::optional<Span> at_work(const RecordReader& record) {
  std::vector<double> borders{0.0};
  for (const RecordedMark& mark : record.marks())
    if (mark.kind != MarkKind::text) {
      borders.push_back(seconds(mark.at_ps));
      if (mark.kind == MarkKind::gap) borders.push_back(seconds(mark.to_ps));
    }
  borders.push_back(record.end_s());
  std::sort(borders.begin(), borders.end());
  std::vector<std::pair<Span, double>> found;  // and its current's rms
  double most = 0.0;
  for (std::size_t k = 1; k < borders.size(); ++k) {
    if (borders[k] - borders[k - 1] < 50e-3) continue;
    const Span span{std::max(borders[k - 1], borders[k] - 1.0), borders[k]};
    double sum = 0.0;
    const Points current = points(record, Signal::current_U, span);
    for (const float value : current.value) sum += double{value} * double{value};
    const double rms =
        std::sqrt(sum / static_cast<double>(std::max<std::size_t>(1, current.value.size())));
    if (!(rms > 0.0)) continue;  // none, or not a number
    found.emplace_back(span, rms);
    most = std::max(most, rms);
  }
  std::optional<Span> best;
  for (const auto& [span, rms] : found)
    if (rms >= 0.1 * most && (!best || span.seconds() >= best->seconds() - 1e-9)) best = span;
  return best;
}

constexpr auto gates_end = static_cast<std::uint16_t>(io::gate_count);

}  // namespace

View whole_run(const RecordReader& record) {
  return {"The whole run", {0.0, std::max(record.end_s(), 1e-6)}};
}

std::vector<View> close_views(const RecordReader& record, const std::vector<Broken>& broken) {
  std::vector<View> out;
  std::vector<std::string> told;
  for (const RecordedMark& mark : record.marks()) {
    if (!matters(mark) || std::find(told.begin(), told.end(), mark.name) != told.end()) continue;
    told.push_back(mark.name);
    const double at_s = seconds(mark.at_ps);
    out.push_back(
        {fmt::format("{} at {}", text_of(mark), quantity_text(at_s, "s", 6)), about(record, at_s)});
    if (out.size() == most_close) break;
  }
  std::size_t more = 0;
  for (const Broken& limit : broken) {
    if (more == most_close || record.frames() == 0) break;
    const double at_s = worst_moment_s(record, limit);
    const bool shown = std::any_of(out.begin(), out.end(), [&](const View& view) {
      return at_s >= view.span.from_s && at_s <= view.span.to_s;
    });
    if (shown) continue;
    out.push_back({fmt::format("FAIL: {}, near {}", limit.measure, quantity_text(at_s, "s", 4)),
                   about(record, at_s)});
    ++more;
  }
  if (out.empty() && record.end_s() > 0.0)
    out.push_back({"The end of the run", about(record, record.end_s())});
  return out;
}

View closer(const View& view) {
  const double at_s = view.span.from_s + 0.25 * view.span.seconds();
  const double width_s = 0.1 * view.span.seconds();
  return {view.title + ", ten times closer", {at_s - 0.25 * width_s, at_s + 0.75 * width_s}};
}

std::string time_charts(const RecordReader& record, const View& view, bool few) {
  std::string out;
  const auto marks = marks_in(record, view.span);
  for (const Pane& pane : panes()) {
    if (few && !pane.close) continue;
    const bool first = &pane == panes().data();
    Chart chart{std::string(pane.title),
                {"time", "s", view.span.from_s, view.span.to_s},
                {"", std::string(pane.unit)},
                {},
                marks,
                first};
    for (const Shown& shown : pane.signals)
      chart.curves.push_back(curve_of(record, shown, view.span));
    chart.y = fitted(chart.y, chart.curves);
    out += svg(chart);
    if (first) {
      out += trace_chart(record, "Gates (grey: switching)", 0, gates_end, view.span);
      out += trace_chart(record, "Other lines at the connector", gates_end,
                         static_cast<std::uint16_t>(io::line_count), view.span);
    }
  }
  return out;
}

std::string firmware_charts(const RecordReader& record, const std::vector<FirmwareSignal>& signals,
                            const View& view) {
  std::string out;
  for (const FirmwareSignal& one : signals) {
    Curve curve{one.name, {}, {}, {}};
    const double first_point = view.span.from_s * record.rate_Hz() - 1.0;
    const double points = view.span.seconds() * record.rate_Hz();
    for (std::size_t k = 0; k < columns; ++k) {
      const auto border = [&](std::size_t column) {
        const double at = first_point + points * static_cast<double>(column) / double{columns};
        return static_cast<std::size_t>(
            std::clamp(std::ceil(at), 0.0, static_cast<double>(one.values.size())));
      };
      double low = nothing, high = nothing;
      for (std::size_t p = border(k); p < border(k + 1); ++p) {
        low = std::fmin(low, double{one.values[p]});
        high = std::fmax(high, double{one.values[p]});
      }
      curve.x.push_back(view.span.from_s +
                        view.span.seconds() * (static_cast<double>(k) + 0.5) / double{columns});
      curve.low.push_back(low);
      curve.high.push_back(high);
    }
    Chart chart{fmt::format("Firmware: {} ({})", one.name, one.text),
                {"time", "s", view.span.from_s, view.span.to_s},
                {"", ""},
                {std::move(curve)},
                marks_in(record, view.span),
                false};
    chart.y = fitted(chart.y, chart.curves);
    out += svg(chart);
  }
  return out;
}

std::string charts_beside(const RecordReader& record, const RecordReader& other,
                          const std::string& its_name) {
  const Span span{0.0, std::max({record.end_s(), other.end_s(), 1e-6})};
  std::string out;
  for (const Pane& pane : panes()) {
    Shown shown = pane.signals.front();
    shown.name = "this run";
    Chart chart{fmt::format("{}{}", pane.title, pane.signals.size() == 3 ? ", phase U" : ""),
                {"time", "s", span.from_s, span.to_s},
                {"", std::string(pane.unit)},
                {banded(record, shown, span), banded(other, shown, span)},
                {}};
    chart.curves[1].name = its_name;
    chart.y = fitted(chart.y, chart.curves);
    out += svg(chart);
  }
  return out;
}

std::string gate_chart(const RecordReader& record, double at_s) {
  // Ten rises of the busiest gate, about the moment.
  std::uint16_t busiest = 0;
  for (std::uint16_t gate = 1; gate < gates_end; ++gate)
    if (record.edges(gate).size() > record.edges(busiest).size()) busiest = gate;
  const auto& edges = record.edges(busiest);
  if (edges.size() < 20) return {};
  const auto found = std::lower_bound(
      edges.begin(), edges.end(), static_cast<std::int64_t>(at_s * 1e12),
      [](const RecordedEdge& edge, std::int64_t at_ps) { return edge.at_ps < at_ps; });
  const auto middle = std::clamp<std::ptrdiff_t>(found - edges.begin(), 10,
                                                 static_cast<std::ptrdiff_t>(edges.size()) - 10);
  const Span span{seconds(edges[static_cast<std::size_t>(middle - 10)].at_ps),
                  seconds(edges[static_cast<std::size_t>(middle + 9)].at_ps)};
  if (!(span.seconds() > 0.0)) return {};
  TraceChart chart{
      fmt::format("Gates, pulse by pulse: {} from {}", quantity_text(span.seconds(), "s", 3),
                  quantity_text(span.from_s, "s", 9)),
      {"time", "us", 0.0, 1e6 * span.seconds()},
      traces(record, 0, gates_end, span),
      {}};
  return svg(chart);
}

std::string spectra(const RecordReader& record) {
  const std::optional<Span> span = at_work(record);
  if (!span) return {};
  std::string out;
  for (const Shown& shown : {Shown{Signal::current_U, "phase current U"},
                             Shown{Signal::torque, "torque"}, Shown{Signal::speed, "speed"}}) {
    const Points found = points(record, shown.signal, *span);
    const Spectrum lines = spectrum(found.value, record.rate_Hz());
    if (lines.amplitude.empty()) return {};
    // Up to 2 kHz: above it are the switching and what the grid folds down.
    const double end_Hz = std::min(2000.0, 0.5 * record.rate_Hz());
    Curve curve{std::string(shown.name), {}, {}, {}};
    for (std::size_t k = 1; k < lines.amplitude.size(); ++k) {
      if (static_cast<double>(k) * lines.step_Hz > end_Hz) break;
      curve.x.push_back(static_cast<double>(k) * lines.step_Hz);
      curve.high.push_back(lines.amplitude[k]);
    }
    curve.low = curve.high;
    const double length_s =
        static_cast<double>(lines.amplitude.size() - 1) * 2.0 / record.rate_Hz();
    Chart chart{fmt::format("Spectrum of {}, {} to {}, peak amplitudes", shown.name,
                            quantity_text(span->to_s - length_s, "s", 4),
                            quantity_text(span->to_s, "s", 4)),
                {"frequency", "Hz", 0.0, end_Hz},
                {"", std::string(signal_table[static_cast<std::size_t>(shown.signal)].unit)},
                {curve},
                {}};
    chart.y = fitted(chart.y, chart.curves);
    out += svg(chart);
  }
  return out;
}

std::string dq_chart(const RecordReader& record) {
  constexpr std::size_t most = 4000;
  const std::size_t step = std::max<std::size_t>(1, record.frames() / most);
  const Span all{0.0, record.end_s()};
  const auto d = points(record, Signal::current_d, all).value;
  const auto q = points(record, Signal::current_q, all).value;
  Curve curve{"i_q over i_d", {}, {}, {}};
  for (std::size_t k = 0; k < d.size(); k += step) {
    curve.x.push_back(static_cast<double>(d[k]));
    curve.high.push_back(static_cast<double>(q[k]));
  }
  if (curve.x.empty()) return {};
  curve.low = curve.high;
  Curve across{"", curve.high, curve.x, curve.x};
  Chart chart{"Current in the rotor's axes, the whole run: i_q over i_d",
              fitted({"i_d", "A"}, {across}),
              fitted({"i_q", "A"}, {curve}),
              {curve},
              {},
              false,
              true};
  equal_scale(chart.x, chart.y);
  return svg(chart);
}

}  // namespace stillrotor
