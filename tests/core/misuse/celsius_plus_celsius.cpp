#include "core/units.hpp"
auto wrong() { return steadyglow::Celsius{20.0} + steadyglow::Celsius{20.0}; }
