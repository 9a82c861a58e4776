#include "emulator/record/signal_hash.hpp"

#include <algorithm>
#include <stdexcept>

#include "io/connector.hpp"

namespace stillrotor {
namespace {

constexpr int line_bits = 5, level_bits = 1;
static_assert(io::line_count <= 1U << line_bits);

}  // namespace

SignalHash::Context SignalHash::start() {
  Context context(EVP_MD_CTX_new());
  if (!context || EVP_DigestInit_ex(context.get(), EVP_sha256(), nullptr) != 1) {
    throw std::runtime_error("the OpenSSL library offers no SHA-256");
  }
  return context;
}

SignalHash::SignalHash() : frames_(start()), edges_(start()) {}

void SignalHash::add_column(std::span<const float> values) noexcept {
  EVP_DigestUpdate(frames_.get(), values.data(), values.size_bytes());
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
  EVP_DigestUpdate(edges_.get(), packed_.data(), packed_count_ * sizeof packed_[0]);
  packed_count_ = 0;
}

std::string SignalHash::finish() {
  hash_packed();
  std::array<unsigned char, 64> both{};
  std::array<unsigned char, 32> digest{};
  EVP_DigestFinal_ex(frames_.get(), both.data(), nullptr);
  EVP_DigestFinal_ex(edges_.get(), both.data() + 32, nullptr);
  EVP_Digest(both.data(), both.size(), digest.data(), nullptr, EVP_sha256(), nullptr);
  constexpr char digits[] = "0123456789abcdef";
  std::string text;
  for (const unsigned char byte : digest) {
    text += digits[byte >> 4];
    text += digits[byte & 15];
  }
  return text;
}

}  // namespace stillrotor
