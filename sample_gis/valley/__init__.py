"""An invented valley: everything in it is made up from the figures in these modules, none of it surveyed."""
