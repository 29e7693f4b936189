from pipeline.cli import main

raise SystemExit(main())
