// Who drives: one at a time. A seat whose holder's connection was lost stays kept for a while.
#pragma once

#include <chrono>
#include <optional>
#include <string>

namespace stillrotor {

class DriversSeat {
 public:
  using Time = std::chrono::steady_clock::time_point;
  static constexpr std::chrono::seconds kept_for{10};

  /// False: somebody else has it.
  bool take(const std::string& client, Time now) {
    if (!holder(now).empty() && holder_ != client) return false;
    holder_ = client;
    lost_.reset();
    return true;
  }
  void release(const std::string& client) {
    if (holder_ == client) holder_.clear();
  }
  void connection_lost(const std::string& client, Time now) {
    if (holder_ == client && !client.empty()) lost_ = now;
  }
  void came_back(const std::string& client, Time now) {
    if (!client.empty() && holder(now) == client) lost_.reset();
  }
  /// Empty: the seat is free.
  const std::string& holder(Time now) {
    if (lost_ && now - *lost_ >= kept_for) {
      holder_.clear();
      lost_.reset();
    }
    return holder_;
  }

 private:
  std::string holder_;
  std::optional<Time> lost_;
};

}  // namespace stillrotor
