#include "emulator/record/signal_hash.hpp"

#include <algorithm>
#include <new>

#include "io/connector.hpp"

namespace stillrotor {
namespace {

constexpr int line_bits = 5, level_bits = 1;
static_assert(io::line_count <= 1U << line_bits);

}  // namespace

SignalHash::State SignalHash::start() {
  State state(XXH3_createState());
  if (!state) throw std::bad_alloc();
  XXH3_128bits_reset(state.get());
  return state;
}

SignalHash::SignalHash() : frames_(start()), edges_(start()) {}

void SignalHash::add_column(std::span<const float> values) noexcept {
  XXH3_128bits_update(frames_.get(), values.data(), values.size_bytes());
}

void SignalHash::add_edges(std::span<const LineEdge> edges) noexcept {
  while (!edges.empty()) {
    const auto few = edges.first(std::min(edges.size(), packed_.size() - packed_count_));
    // One word an edge: the step in time (up to 3 days), the line, the level.
    std::uint64_t* to = &packed_[packed_count_];
    std::int64_t last_ps = last_ps_;
    for (const LineEdge& edge : few) {
      const auto step = static_cast<std::uint64_t>(edge.at_ps - last_ps);
      last_ps = edge.at_ps;
      *to++ = step << (line_bits + level_bits) |
              static_cast<std::uint64_t>(edge.line) << level_bits | edge.level;
    }
    last_ps_ = last_ps;
    packed_count_ += few.size();
    if (packed_count_ == packed_.size()) hash_packed();
    edges = edges.subspan(few.size());
  }
}

void SignalHash::hash_packed() noexcept {
  XXH3_128bits_update(edges_.get(), packed_.data(), packed_count_ * sizeof packed_[0]);
  packed_count_ = 0;
}

std::string SignalHash::finish() noexcept {
  hash_packed();
  std::array<XXH128_canonical_t, 2> both;
  XXH128_canonicalFromHash(&both[0], XXH3_128bits_digest(frames_.get()));
  XXH128_canonicalFromHash(&both[1], XXH3_128bits_digest(edges_.get()));
  XXH128_canonical_t sum;
  XXH128_canonicalFromHash(&sum, XXH3_128bits(both.data(), sizeof both));
  constexpr char digits[] = "0123456789abcdef";
  std::string text;
  for (const unsigned char byte : sum.digest) {
    text += digits[byte >> 4];
    text += digits[byte & 15];
  }
  return text;
}

}  // namespace stillrotor
