//! The command line of Axiswright.

fn main() -> std::process::ExitCode {
    axiswright::cli::main()
}
