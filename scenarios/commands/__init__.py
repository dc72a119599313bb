"""The commands of the command line, thin: parse, call one study, print."""
