"""Questions asked of a chain. Each study is pure: a SignalChain in, a frozen result of numbers out, no text."""
