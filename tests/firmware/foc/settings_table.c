#include "settings_table.h"

#include <stddef.h>

#include "settings.h"

const struct sr_setting sr_settings[SETTING_COUNT] = {
    {"pole_pairs", NULL, SR_INT32, &settings.pole_pairs, 1, 32},
    {"phase_order", NULL, SR_INT32, &settings.phase_order, 0, 5},
    {"hall_order", NULL, SR_INT32, &settings.hall_order, 0, 5},
    {"hall_inverted", NULL, SR_INT32, &settings.hall_inverted, 0, 1},
    {"hall_spacing", "deg", SR_INT32, &settings.hall_spacing_deg, 60, 120},
    {"encoder_lines", NULL, SR_INT32, &settings.encoder_lines, 1, 10000},
    {"encoder_direction", NULL, SR_INT32, &settings.encoder_direction, -1, 1},
    {"index", "deg", SR_FLOAT, &settings.index_deg, -360, 360},
    {"angle_offset", "deg", SR_FLOAT, &settings.angle_offset_deg, -180, 180},
    {"current_gain", "V/A", SR_FLOAT, &settings.current_V_per_A, -1, 1},
    {"current_zero", "V", SR_FLOAT, &settings.current_zero_V, 0, 5},
    {"measures_zero", NULL, SR_INT32, &settings.measures_zero, 0, 1},
    {"full_speed", "rpm", SR_FLOAT, &settings.full_speed_rpm, 0, 10000},
    {"limited_speed", "rpm", SR_FLOAT, &settings.limited_rpm, 0, 100000},
    {"learns", NULL, SR_INT32, &settings.learns, 0, 1},
};
