//! The fit rules, one a file: what it states, its linear form, its check, its source.

pub mod board_depth;
pub mod board_form;
pub mod cooler_capacity;
pub mod cooler_height;
pub mod cooler_present;
pub mod cooler_socket;
pub mod display_source;
pub mod graphics_length;
pub mod graphics_slots;
pub mod memory_capacity;
pub mod memory_generation;
pub mod memory_slots;
pub mod memory_type;
pub mod module_capacity;
pub mod processor_chipset;
pub mod processor_socket;
pub mod supply_form;
pub mod supply_length;
pub mod supply_minimum;
pub mod supply_power;
