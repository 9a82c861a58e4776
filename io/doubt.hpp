// A simulated controller that can say that it was not what the firmware took it for.
//
// Controllers of which that can be so derive from Doubter beside SimulatedController.
#pragma once

#include <optional>
#include <string>

#include "io/connector.hpp"

namespace stillrotor::io {

/// Why what a simulated controller did from then on is not to be judged.
struct Doubt {
  Time from{};
  std::string why;  // a sentence without its stop
};

class Doubter {
 public:
  virtual ~Doubter() = default;
  /// The first: something between program and connector was used that only a real chip has.
  virtual std::optional<Doubt> doubt() const = 0;
};

}  // namespace stillrotor::io
