// One line's edges in order, a block at a time: a long record need not lie in memory whole.
// Throws std::runtime_error where the file is damaged.
#pragma once

#include <cstdint>
#include <vector>

#include "emulator/record/record_reader.hpp"

namespace stillrotor {

class EdgeStream {
 public:
  EdgeStream(const RecordReader& record, std::uint16_t line)
      : record_(&record), line_(line), block_(block_size) {
    refill();
  }

  bool done() const noexcept { return next_ == filled_; }
  // Not when done.
  std::int64_t at_ps() const noexcept { return block_[next_].at_ps; }
  bool level() const noexcept { return block_[next_].level != 0; }
  void step() {
    if (++next_ == filled_) refill();
  }

 private:
  static constexpr std::size_t block_size = 8192;

  void refill() {
    first_ += filled_;
    filled_ = record_->read_edges(line_, first_, block_);
    next_ = 0;
  }

  const RecordReader* record_;
  std::uint16_t line_;
  std::vector<RecordedEdge> block_;
  std::size_t first_ = 0, filled_ = 0, next_ = 0;
};

}  // namespace stillrotor
