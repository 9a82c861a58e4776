#include "emulator/cli/run_folder.hpp"

#include <fmt/core.h>
#include <openssl/evp.h>

#include <array>
#include <cerrno>
#include <cstring>
#include <ctime>
#include <fstream>
#include <memory>
#include <stdexcept>

#include "emulator/bench/input_error.hpp"

namespace stillrotor {
namespace {

namespace fs = std::filesystem;

[[noreturn]] void fail(const fs::path& path, std::string_view what) {
  throw std::runtime_error(fmt::format("{}: {}: {}.", path.string(), what, std::strerror(errno)));
}

}  // namespace

std::string utc_now(const char* format) {
  const std::time_t now = std::time(nullptr);
  std::tm parts{};
  gmtime_r(&now, &parts);
  std::array<char, 64> text{};
  return {text.data(), std::strftime(text.data(), text.size(), format, &parts)};
}

fs::path new_run_folder(const fs::path& bench_file, const fs::path& scenario_file) {
  const fs::path runs = "runs";
  fs::create_directories(runs);
  const std::string name = fmt::format("{}-{}-{}", utc_now("%Y%m%dT%H%M%SZ"),
                                       bench_file.stem().string(), scenario_file.stem().string());
  // Several runs may begin in one second; create_directory tells who was first.
  for (int n = 1; n < 10'000; ++n) {
    const fs::path folder = runs / (n == 1 ? name : fmt::format("{}-{}", name, n));
    if (fs::create_directory(folder)) return folder;
  }
  throw std::runtime_error(
      fmt::format("{}: every name is taken. Name a folder with --out.", (runs / name).string()));
}

void make_run_folder(const fs::path& folder) {
  const bool exists = fs::exists(folder);
  if (exists && !fs::is_directory(folder))
    throw InputError(folder.string() + ": is not a folder. Name another one with --out.");
  if (exists && !fs::is_empty(folder))
    throw InputError(folder.string() +
                     ": is not empty, and a run does not overwrite what is there. Name another "
                     "folder with --out, or remove this one.");
  fs::create_directories(folder);
}

void write_file(const fs::path& file, std::string_view text) {
  fs::path beside = file;
  beside += ".part";
  std::ofstream out(beside, std::ios::binary | std::ios::trunc);
  out << text;
  out.close();
  if (!out) fail(file, "cannot be written");
  fs::rename(beside, file);
}

namespace {

class Sha256 {
 public:
  Sha256() : hash_(EVP_MD_CTX_new(), EVP_MD_CTX_free) {
    EVP_DigestInit_ex(hash_.get(), EVP_sha256(), nullptr);
  }
  void add(std::string_view bytes) { EVP_DigestUpdate(hash_.get(), bytes.data(), bytes.size()); }
  std::string text() {
    std::array<unsigned char, EVP_MAX_MD_SIZE> digest{};
    unsigned length = 0;
    EVP_DigestFinal_ex(hash_.get(), digest.data(), &length);
    std::string text;
    for (unsigned k = 0; k < length; ++k) text += fmt::format("{:02x}", digest[k]);
    return text;
  }

 private:
  std::unique_ptr<EVP_MD_CTX, void (*)(EVP_MD_CTX*)> hash_;
};

}  // namespace

std::string file_sha256(const fs::path& file) {
  std::ifstream in(file, std::ios::binary);
  if (!in) fail(file, "cannot be read");
  Sha256 hash;
  std::array<char, 1 << 16> block{};
  while (in.read(block.data(), block.size()), in.gcount() > 0)
    hash.add({block.data(), static_cast<std::size_t>(in.gcount())});
  if (in.bad()) fail(file, "cannot be read to its end");
  return hash.text();
}

std::string text_sha256(std::string_view text) {
  Sha256 hash;
  hash.add(text);
  return hash.text();
}

}  // namespace stillrotor
