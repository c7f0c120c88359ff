/* A small controller in C for the tests: starts unloaded after a minute of oil, then steps the capacity slide.
 * Its Python twin is plain_steps.py; both must give the same trace. */
#include "twoslide_controller.h"

typedef struct {
    bool started;
    uint32_t last_ms;
    int64_t lubricated_ms;
    int64_t period_ms;
    int64_t pulse_ms;
    bool tripped;
} state_t;

int32_t twoslide_abi_version(void) { return TWOSLIDE_ABI_VERSION; }
int64_t twoslide_state_bytes(void) { return sizeof(state_t); }

int32_t twoslide_scan(const void *settings, void *memory, const twoslide_inputs *in, twoslide_outputs *out, uint32_t now_ms)
{
    state_t *s = memory;
    (void)settings;
    int64_t dt_ms = s->started ? (uint32_t)(now_ms - s->last_ms) : 0;
    s->started = true;
    s->last_ms = now_ms;
    if (in->stop_button_pressed || in->discharge_pressure_kpa_abs > 1700.0) s->tripped = true;
    out->oil_pump = !s->tripped;
    s->lubricated_ms = out->oil_pump ? s->lubricated_ms + dt_ms : 0;
    bool unloaded = in->capacity_position_pct < 3.0 && in->volume_ratio_position_pct < 3.0;
    out->motor_run = !s->tripped && (out->motor_run || (s->lubricated_ms >= 60000 && unloaded));
    out->mode = s->tripped ? TWOSLIDE_MODE_TRIPPED : out->motor_run ? TWOSLIDE_MODE_AUTOMATIC : TWOSLIDE_MODE_PRE_LUBRICATION;
    double error_kpa = in->suction_pressure_kpa_abs - 290.0;
    s->period_ms += dt_ms;
    s->pulse_ms -= dt_ms;
    if (s->period_ms >= 10000 && (error_kpa > 5.0 || error_kpa < -5.0)) {
        s->period_ms = 0;
        s->pulse_ms = 1000;
    }
    bool moving = out->motor_run && in->motor_running && s->pulse_ms > 0;
    out->capacity_load = moving && error_kpa > 5.0;
    out->capacity_unload = (moving && error_kpa < -5.0) || !out->motor_run;
    out->volume_ratio_increase = moving && in->volume_ratio_position_pct < 60.0;
    out->volume_ratio_decrease = !out->motor_run;
    out->suction_set_point_kpa_abs = 290.0;
    out->capacity_demand_pct = in->capacity_position_pct;
    return 0;
}
