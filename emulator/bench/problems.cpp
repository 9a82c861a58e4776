#include "emulator/bench/problems.hpp"

#include <fmt/format.h>

#include <algorithm>

#include "emulator/bench/nearest.hpp"

namespace stillrotor {

std::string Place::text() const {
  if (line == 0) return file ? *file : std::string();
  return fmt::format("{}:{}:{}", *file, line, column);
}

std::string Place::origin() const {
  if (line == 0) return text();
  return fmt::format("{}:{}", *file, line);
}

Place whole(std::string name) {
  return {std::make_shared<const std::string>(std::move(name)), 0, 0};
}

void Problems::add(const Place& place, std::string_view sentence) {
  constexpr std::size_t long_list = 100;
  std::string message = fmt::format("{}: {}", place.text(), sentence);
  const auto said = [&] {
    return std::find(messages_.begin(), messages_.end(), message) != messages_.end();
  };
  if (said()) return;
  if (const auto at = message.find(list_of_known);
      at != std::string::npos && message.size() - at > long_list) {
    const std::string list = message.substr(at);
    if (std::find(lists_.begin(), lists_.end(), list) == lists_.end())
      lists_.push_back(list);
    else
      message.replace(at, std::string::npos, fmt::format("{}as above.", list_of_known));
  }
  if (!said()) messages_.push_back(std::move(message));
}

void Problems::add_all(const InputError& error) {
  messages_.insert(messages_.end(), error.messages.begin(), error.messages.end());
}

void Problems::throw_if_any() const {
  if (messages_.empty()) return;
  constexpr std::size_t most = 40;
  if (messages_.size() <= most) throw InputError(messages_);
  std::vector<std::string> first(messages_.begin(), messages_.begin() + most);
  first.push_back(fmt::format("... and {} more problems.", messages_.size() - most));
  throw InputError(std::move(first));
}

}  // namespace stillrotor
