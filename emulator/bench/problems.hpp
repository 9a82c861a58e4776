// Collects everything that is wrong with an input, so that a user sees all of it at once.
#pragma once

#include <memory>
#include <string>
#include <string_view>
#include <vector>

#include "emulator/bench/input_error.hpp"

namespace stillrotor {

/// Where something was written. line 0: no position (a whole file, a command-line option).
struct Place {
  std::shared_ptr<const std::string> file;
  int line = 0, column = 0;

  /// "configs/benches/cart.yaml:9:15"
  std::string text() const;
  /// "configs/benches/cart.yaml:9"
  std::string origin() const;
};

/// A place without line: a file as a whole, or "--set machine.pole_pairs".
Place whole(std::string name);

class Problems {
 public:
  /// sentence: what, allowed and remedy, with its full stop. The same message twice counts once; a
  /// long list of what is known, once given, is not given again.
  void add(const Place&, std::string_view sentence);
  void add_all(const InputError&);
  bool empty() const noexcept { return messages_.empty(); }
  /// Throws InputError when there was any; at most 40 messages, the rest is counted.
  void throw_if_any() const;

 private:
  std::vector<std::string> messages_, lists_;
};

}  // namespace stillrotor
