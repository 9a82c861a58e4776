// What the controller's fault lamp says.
#include <cstdio>
#include <set>

#include "emulator/judge/measure_rows.hpp"
#include "emulator/judge/wording.hpp"
#include "emulator/record/edge_stream.hpp"
#include "io/connector.hpp"

namespace stillrotor {
namespace {

Blinks blinks_of(std::string_view argument) {
  Blinks b;
  if (!argument.empty())
    std::sscanf(std::string(argument).c_str(), "%lf %lf %lf", &b.shortest_s, &b.longest_s,
                &b.pause_s);
  return b;
}

/// Takes light and dark one after the other; gathers the groups that lie between two pauses.
class Groups {
 public:
  explicit Groups(const Blinks& what) : what_(what) {}

  /// cut: begins before the window or ends behind it.
  void dark(double seconds, bool cut) {
    if (seconds >= what_.pause_s) {  // however much more of it there is
      if (whole_ && blinks_ > 0) found_.insert(blinks_);
      whole_ = true;
      blinks_ = 0;
    } else if (cut) {
      whole_ = false;
    } else {
      check(seconds, "dark");
    }
  }
  void light(double seconds, bool cut) {
    if (cut)
      whole_ = false;
    else if (check(seconds, "lit"))
      ++blinks_;
  }

  const std::set<int>& found() const noexcept { return found_; }
  /// Why something was no blink; the last one.
  const std::string& odd() const noexcept { return odd_; }

 private:
  bool check(double seconds, const char* how) {
    if (seconds >= what_.shortest_s && seconds <= what_.longest_s) return true;
    odd_ = std::string("; it was ") + how + " for " + quantity_text(seconds, "s", 4) +
           ", and in a group that may last " + quantity_text(what_.shortest_s, "s", 4) + " to " +
           quantity_text(what_.longest_s, "s", 4);
    whole_ = false;
    return false;
  }

  Blinks what_;
  bool whole_ = false;  // a pause came before this group, and all since were blinks
  int blinks_ = 0;
  std::set<int> found_;
  std::string odd_;
};

}  // namespace

Measurement blink_code(const MeasureInput& input) {
  const Blinks what = blinks_of(input.argument);
  const auto number = static_cast<std::uint16_t>(io::line::lamp);
  const auto from_ps = input.window.from_ps, to_ps = input.window.to_ps;
  Groups groups(what);
  bool lit = input.record().initially_high(number), cut = true;
  std::int64_t since_ps = from_ps;
  const auto take = [&](std::int64_t until_ps, bool cut_there) {
    const double seconds = static_cast<double>(until_ps - since_ps) * 1e-12;
    lit ? groups.light(seconds, cut || cut_there) : groups.dark(seconds, cut || cut_there);
  };
  for (EdgeStream edge(input.record(), number); !edge.done() && edge.at_ps() <= to_ps;
       edge.step()) {
    if (edge.level() == lit) continue;
    if (edge.at_ps() > from_ps) {
      take(edge.at_ps(), false);
      since_ps = edge.at_ps();
      cut = false;
    }
    lit = edge.level();
  }
  take(to_ps, true);
  if (groups.found().empty())
    return undefined("no group of blinks lies between two pauses of " +
                     quantity_text(what.pause_s, "s", 4) + " in the window" + groups.odd());
  if (groups.found().size() > 1) {
    std::string all;
    for (const int one : groups.found()) all += (all.empty() ? "" : " and ") + std::to_string(one);
    return undefined("it blinked " + all + " times: no one code. Choose a window that holds one");
  }
  Measurement code;
  code.value = *groups.found().begin();
  return code;
}

}  // namespace stillrotor
