fn main() -> std::process::ExitCode {
    airmuster::cli::run()
}
