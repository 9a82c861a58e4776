#include "emulator/cycle/far_plant_mirror.hpp"

#include <cmath>

#include "emulator/partition/link_settings.hpp"

namespace stillrotor {

FarPlantMirror::FarPlantMirror(const Bench& bench, const io::LinkConfig& link, io::FarPlant& far,
                               BenchWorld& world)
    : far_(far),
      mirror_(bench, link_settings(bench, link), world),
      lead_ns_(std::llround(link.lead_s * 1e9)) {}

}  // namespace stillrotor
