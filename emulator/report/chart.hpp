// A drawing as inline SVG: curves or levels over time, one axis each way, marks in time. Colours
// are classes s1, s2 ... of the page's style sheet, so that they follow light, dark and print. Text
// that goes into the drawing is escaped here.
#pragma once

#include <string>
#include <string_view>
#include <vector>

#include "emulator/report/envelope.hpp"

namespace stillrotor {

/// A curve's piece of drawing: values over x, or between two values in each of equal columns.
struct Curve {
  std::string name;
  std::vector<double> x;
  std::vector<double> low, high;  // equal: a line. NaN: nothing there
};
struct Trace {
  std::string name;
  std::vector<LineColumn> columns;
};
struct TimeMark {
  double at = 0.0;
  std::string text;
  bool fault = false;
};

struct Axis {
  std::string name, unit;
  double low = 0.0, high = 1.0;
};

struct Chart {
  std::string title;
  Axis x, y;
  std::vector<Curve> curves;
  std::vector<TimeMark> marks;
  bool flags = false;   // faults' words beside their marks
  bool square = false;  // both axes at one scale: a plane, not a course
};
std::string svg(const Chart&);

/// Levels of lines, one below the other.
struct TraceChart {
  std::string title;
  Axis x;
  std::vector<Trace> traces;
  std::vector<TimeMark> marks;
};
std::string svg(const TraceChart&);

/// Room around what the curves hold; 0 in it where it lies near.
Axis fitted(Axis, const std::vector<Curve>&);
/// The shorter of both made as long as the other, about its middle.
void equal_scale(Axis&, Axis&);

}  // namespace stillrotor
