"""From cover on dated check-ins to rates, status and comparison."""
