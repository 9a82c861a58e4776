// A user's input is wrong. Carries one message per problem, each "file:line:column: what; allowed.
// Remedy." The program prints them all and exits with status 2.
#pragma once

#include <stdexcept>
#include <string>
#include <vector>

namespace stillrotor {

class InputError : public std::runtime_error {
 public:
  explicit InputError(std::vector<std::string> all)
      : std::runtime_error(join(all)), messages(std::move(all)) {}
  explicit InputError(const std::string& one) : InputError(std::vector<std::string>{one}) {}
  std::vector<std::string> messages;

 private:
  static std::string join(const std::vector<std::string>& all) {
    std::string text;
    for (const auto& line : all) text += (text.empty() ? "" : "\n") + line;
    return text;
  }
};

}  // namespace stillrotor
