"""The two furnaces of the demo, at an invented volunteer railway workshop, and their profiles."""

from sootline.channels import CHANNELS
from sootline.heat.conversions import GALLON_L, PSI_PA
from sootline.sim.oil import blend, oil
from sootline.sim.spec import Building, FurnaceSpec, Heater

GEAR_BLEND = blend(oil("vg-220", ash_percent=0.44), oil("vg-68", ash_percent=0.44), 0.4)
HYDRAULIC = oil("vg-46", ash_percent=0.19)
DIESEL_DRAIN = oil("engine-15w-40", ash_percent=1.2)  # what is left in the tank thins it to about 1.0 %

ENGINE_SHED = FurnaceSpec(
    id="engine-shed",
    rated_W=46e3,
    firing_l_h=1.10 * GALLON_L,
    tank=Heater(power_W=1000.0, setpoint_C=65.0, band_K=4.0, cutout_C=105.0, loss_W_K=3.0),
    nozzle=Heater(power_W=400.0, setpoint_C=95.0, band_K=4.0, cutout_C=150.0, loss_W_K=0.5),
    block_J_K=2700.0,
    channels=tuple(CHANNELS),
    first_oil=GEAR_BLEND,
    heating="keep-warm",
    air_pressure_Pa=14.0 * PSI_PA,
    clean_net_stack_K=262.0,
    fouling_K_per_100h=14.0,
    stack_limit_C=380.0,
    tank_limit_C=95.0,
    nozzle_limit_C=130.0,
    tank_volume_l=8.0,
    differential_l=0.45,
    low_level_l=4.6,
    high_level_l=8.4,
    overflow_l=8.75,
    pump_l_h=40.0 * GALLON_L,
    limit_s=20.0,
    supply_volume_l=900.0,
    supply_start_l=330.0,
    supply_indoor_share=0.85,
    building=Building(loss_W_K=1000.0, day_from_h=6.0),
)

CARRIAGE_SHOP = FurnaceSpec(
    id="carriage-shop",
    rated_W=35e3,
    firing_l_h=0.70 * GALLON_L,
    tank=Heater(power_W=500.0, setpoint_C=60.0, band_K=4.0, cutout_C=100.0, loss_W_K=1.2),
    nozzle=Heater(power_W=250.0, setpoint_C=85.0, band_K=3.0, cutout_C=140.0, loss_W_K=0.9),
    channels=("tank", "nozzle", "stack", "pump", "call", "room"),
    first_oil=HYDRAULIC,
    heating="on-call",
    air_pressure_Pa=11.0 * PSI_PA,
    clean_net_stack_K=238.0,
    fouling_K_per_100h=6.0,
    stack_limit_C=350.0,
    tank_limit_C=90.0,
    nozzle_limit_C=120.0,
    tank_volume_l=4.0,
    differential_l=0.30,
    low_level_l=2.6,
    high_level_l=4.25,
    overflow_l=4.5,
    pump_l_h=30.0 * GALLON_L,
    suction_drop_Pa=2.2e3,
    limit_s=20.0,
    supply_volume_l=900.0,
    supply_start_l=850.0,
    supply_indoor_share=0.9,
    building=Building(
        loss_W_K=560.0,
        air_J_K=5.0e6,
        fabric_J_K=45.0e6,
        coupling_W_K=2800.0,
        day_C=15.0,
        night_C=7.0,
        day_from_h=6.5,
        day_to_h=17.5,
    ),
)

FURNACES: dict[str, FurnaceSpec] = {spec.id: spec for spec in (ENGINE_SHED, CARRIAGE_SHOP)}

PROFILES: dict[str, str] = {
    "engine-shed": """\
[furnace]
id = "engine-shed"
rated_input_kW = 46.0
heating = "keep-warm"
clean_on = 2026-01-04
[refill]
limit_s = 20.0
differential_l = 0.45
[tank]
setpoint_C = 65.0
limit_C = 95.0
heater_W = 1000.0
volume_l = 8.0
[nozzle]
setpoint_C = 95.0
limit_C = 130.0
heater_W = 400.0
[stack]
limit_C = 380.0
[air]
setpoint_kPa = 96.5
band_kPa = 10.0
[supply]
volume_l = 900.0
notice_days = 3.0
[room]
freeze_C = 3.0
[servicing]
every_h = 500.0
[cleaning]
at_rise_K = 45.0
cost = 60.0
oil_value_per_l = 0.65
""",
    "carriage-shop": """\
[furnace]
id = "carriage-shop"
rated_input_kW = 35.0
heating = "on-call"
clean_on = 2026-01-04
[refill]
limit_s = 20.0
differential_l = 0.30
[tank]
setpoint_C = 60.0
limit_C = 90.0
heater_W = 500.0
volume_l = 4.0
[nozzle]
setpoint_C = 85.0
limit_C = 120.0
heater_W = 250.0
[stack]
limit_C = 350.0
[room]
freeze_C = 3.0
[servicing]
every_h = 250.0
[cleaning]
at_rise_K = 45.0
cost = 60.0
oil_value_per_l = 0.65
""",
}
