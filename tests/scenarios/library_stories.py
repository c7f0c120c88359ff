"""Which scenarios of the library are about a trip: in every other one a trip is a shortfall."""

MAY_TRIP = frozenset(
    {
        "capacity_slide_stuck",
        "condenser_fans_fail",
        "contactor_does_not_open",
        "emergency_stop",
        "linkage_slips",
        "liquid_surge_to_high_high_level",
        "oil_cooler_fouls",
        "oil_cooler_fouls_to_discharge_trip",
        "restart_after_trip_loaded",
        "safety_chain_opens",
        "suction_transmitter_fails",
        "suction_transmitter_freezes",
    }
)
