// One line of the timeline while it is read. Included by the readers of the timeline only.
#pragma once

#include <string>
#include <string_view>
#include <vector>

#include "emulator/bench/bench.hpp"
#include "emulator/scenario/fields.hpp"
#include "emulator/scenario/read_action.hpp"
#include "emulator/scenario/readers.hpp"

namespace stillrotor {

struct ActionDraft {
  Fields fields;
  const Bench& bench;
  Problems& problems;
  ReadAction read{};
  std::vector<WrittenPair> pairs{};  // of the resolved file

  void means_nothing(std::string_view option, std::string_view beside) const;
  /// The bench has not what `name` needs; says so at `key`, with the remedy. False.
  bool lacks(std::string_view key, std::string_view name, std::string_view needs,
             std::string_view remedy) const;
};

inline constexpr std::string_view ramp_time = "over";
inline constexpr std::string_view overtaking = "overtakes";

/// What may stand beside what is done: the ramp's time, that it overtakes, all faults' options.
const std::vector<std::string>& action_options();

// What an action does. False, and the problem said, when wrong.
/// A word of action_words().
bool read_word(ActionDraft&, const std::string& name);
/// `key` is "fault" or "clear".
bool read_fault(ActionDraft&, const std::string& key);

}  // namespace stillrotor
