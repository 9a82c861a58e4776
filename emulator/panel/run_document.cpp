#include "emulator/panel/run_document.hpp"

#include <fstream>

namespace stillrotor {

nlohmann::json json_document(const std::filesystem::path& file) {
  std::ifstream in(file, std::ios::binary);
  if (!in) return nullptr;
  nlohmann::json json = nlohmann::json::parse(in, nullptr, false);
  return json.is_discarded() ? nlohmann::json() : json;
}

std::string text_of(const nlohmann::json& json, const char* key) {
  if (!json.is_object()) return {};
  const auto it = json.find(key);
  return it != json.end() && it->is_string() ? it->get<std::string>() : std::string();
}

}  // namespace stillrotor
