// The JSON documents of a run's folder, as far as there are any.
#pragma once

#include <filesystem>
#include <nlohmann/json.hpp>
#include <string>

namespace stillrotor {

/// null: there is none, or it is damaged.
nlohmann::json json_document(const std::filesystem::path&);
/// Empty: it is not there, or no text.
std::string text_of(const nlohmann::json&, const char* key);

}  // namespace stillrotor
