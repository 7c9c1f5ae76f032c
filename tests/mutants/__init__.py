"""Changes the engine's sources one small thing at a time, and tells what no test notices."""
