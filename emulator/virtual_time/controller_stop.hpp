// How a simulated controller comes to a stop, for whoever gives it its turns.
#pragma once

#include <string>
#include <string_view>

#include "io/connector.hpp"

namespace stillrotor {

/// The record's event for it.
constexpr std::string_view stop_event(io::Health health) noexcept {
  switch (health) {
    case io::Health::exited:
      return "controller exited";
    case io::Health::crashed:
      return "controller crashed";
    default:
      return "controller hung";
  }
}

/// A controller that is asked to go on and stays where it is.
class Standstill {
 public:
  /// After each call of its run().
  void note(bool moved) noexcept { calls_ = moved ? 0 : calls_ + 1; }
  void forget() noexcept { calls_ = 0; }
  /// Six gates and their dead times at one instant are a dozen calls; this is no controller any
  /// more.
  bool lasts() const noexcept { return calls_ > 1000; }
  std::string why() const {
    return "the controller was asked " + std::to_string(calls_) +
           " times in a row to go on and stayed where it was";
  }

 private:
  int calls_ = 0;
};

}  // namespace stillrotor
