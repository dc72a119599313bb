"""What is asked, and what is answered: cases, campaigns, studies, report, command line."""
