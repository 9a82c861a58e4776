// A board on the other end of a real pseudo-terminal or socket, on a thread of its own. It runs by
// the wall clock, never ahead of it, and stands still while what it sent is not taken: tests count,
// they do not time.
#pragma once

#include <atomic>
#include <cstdint>
#include <string>
#include <thread>

#include "tests/io/link/support/board.hpp"

namespace stillrotor::io {

class FarEnd {
 public:
  enum class Kind { serial, udp, tcp, unix_socket };
  explicit FarEnd(Kind);
  ~FarEnd();

  std::string address() const { return address_; }
  /// So many gate edges, 240,000 a second at most; `taken` by the other side so far.
  void send_edges(std::uint64_t count) { wanted_ = count; }
  void taken(std::uint64_t count) { taken_ = count; }
  std::uint64_t sent() const { return sent_; }
  /// No end of the wire answers; a stream's connection is closed.
  void unplug(bool pulled) { unplugged_ = pulled; }
  bool driven() const { return driven_; }

 private:
  void run();
  void accept();
  void hear();
  void speak();
  void make_edges(std::uint32_t until);

  Kind kind_;
  std::string address_, path_;
  int listener_ = -1, wire_ = -1, slave_ = -1;
  bool has_peer_ = false;  // udp
  Board board_{77, 0xffff0000U};
  std::uint32_t edge_tick_ = 0xffff0000U, gates_ = 0;
  std::atomic<std::uint64_t> wanted_{0}, taken_{0}, sent_{0};
  std::atomic<bool> unplugged_{false}, stop_{false}, driven_{false};
  std::thread thread_;
};

}  // namespace stillrotor::io
