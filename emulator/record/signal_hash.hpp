// SHA-256 over a run's frames and edges: equal for equal runs, whatever the threads did.
// Frames and edges have a digest each, so their interleaving does not matter; the result is the
// digest over both digests.
#pragma once

#include <openssl/evp.h>

#include <array>
#include <cstddef>
#include <cstdint>
#include <memory>
#include <span>
#include <string>

#include "emulator/handover/frame.hpp"

namespace stillrotor {

class SignalHash {
 public:
  SignalHash();
  /// Values as the record keeps them, columns of fixed length (only the last may be shorter).
  void add_column(std::span<const float>) noexcept;
  void add_edges(std::span<const LineEdge>) noexcept;
  /// Hexadecimal digest; call once.
  std::string finish();

 private:
  struct Free {
    void operator()(EVP_MD_CTX* context) const noexcept { EVP_MD_CTX_free(context); }
  };
  using Context = std::unique_ptr<EVP_MD_CTX, Free>;
  static Context start();
  void hash_packed() noexcept;

  Context frames_, edges_;
  std::array<std::uint64_t, 2048> packed_{};
  std::size_t packed_count_ = 0;
  std::int64_t last_ps_ = 0;
};

}  // namespace stillrotor
