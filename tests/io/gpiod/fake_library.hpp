// A board that a test holds in its hands: lines that it moves, and a look at what was driven.
#pragma once

#include <map>
#include <mutex>

#include "io/gpiod/library.hpp"

namespace stillrotor::io::gpiod::test {

class Board {
 public:
  Board();

  std::vector<ChipState> chips;

  // Towards the bench. One queue a line, as the first kernel interface has it.
  struct Arriving {
    unsigned offset;
    std::int64_t at_ns;
    bool active;
  };
  /// All at once, as far as the reader can see.
  void edges(std::span<const Arriving>);
  void edge(unsigned offset, std::int64_t at_ns, bool active) {
    const Arriving one{offset, at_ns, active};
    edges({&one, 1});
  }
  void level(unsigned offset, bool active);
  void fill_up(unsigned offset) { queue_was_full_ |= 1U << offset; }
  void unplug();

  // From the bench, by offset.
  struct Driven {
    bool taken = false, let_go = false, active = false;
    LineRequest request;
  };
  Driven driven(unsigned offset);
  int writes() { return writes_; }

  int error = 0;             // that a request fails with
  bool writes_fail = false;  // as an unplugged chip's do

  struct Queue {
    std::vector<RawEdge> edges;
    int reading = -1, writing = -1;  // a pipe with one byte for each edge
  };
  std::mutex guard;
  std::map<unsigned, Queue> queues;
  std::map<unsigned, Driven> outputs;
  std::map<unsigned, bool> levels;
  std::uint32_t queue_was_full_ = 0;
  int writes_ = 0;
  bool unplugged = false;
};

std::unique_ptr<Library> library_of(std::shared_ptr<Board>);

}  // namespace stillrotor::io::gpiod::test
